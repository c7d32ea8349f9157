// One instant, one span and one window of time, moved by buttons, keys, strips and map.
const makePlayer = (trip, show) => {
  const state = { now: trip.from, span: [0, trip.n], view: [trip.from, trip.to], event: -1, playing: false, pace: 30 };
  const LEAST_VIEW_S = 20;
  const clamp = (value, low, high) => Math.min(high, Math.max(low, value));
  const bin = () => trip.at(state.now);

  const seek = (time) => {
    state.now = clamp(time, trip.from, trip.to);
    const [from, to] = state.view;
    if (state.now < from || state.now > to) setView(state.now - (to - from) / 8, state.now + (7 * (to - from)) / 8);
    show.now(state);
  };
  const setView = (from, to) => {
    const length = clamp(to - from, Math.min(LEAST_VIEW_S, trip.to - trip.from), trip.to - trip.from);
    const start = clamp(from, trip.from, trip.to - length);
    state.view = [start, start + length];
    show.view(state);
  };
  const zoom = (factor) => {
    const [from, to] = state.view;
    const middle = state.now >= from && state.now <= to ? state.now : (from + to) / 2;
    setView(middle - (middle - from) * factor, middle + (to - middle) * factor);
  };
  const setSpan = (from, to) => { state.span = [from, to]; show.span(state); };
  const goEvent = (number) => {
    const event = trip.head.events[number];
    if (!event) return;
    state.event = number;
    const [from, to] = event.map((ms) => ms / 1000);
    setSpan(...trip.span(from, to));
    if (from < state.view[0] || to > state.view[1]) {
      const length = state.view[1] - state.view[0];
      setView(from - length / 3, from + (2 * length) / 3);
    }
    seek(from);
    show.event(state);
  };
  const begins = trip.head.events.map(([ms]) => ms / 1000);
  const step = (bins) => seek(trip.start[clamp(bin() + bins, 0, trip.n - 1)]);

  let last = 0;
  const tick = (stamp) => {
    if (!state.playing) return;
    const passed = last ? Math.min(0.1, (stamp - last) / 1000) : 0;
    last = stamp;
    let next = state.now + passed * state.pace;
    const i = trip.at(next);
    // Nothing is known of a gap: over it at once.
    if (next > trip.end[i] && i < trip.n - 1) next = trip.start[i + 1];
    seek(next);
    if (next >= trip.to) play(false);
    requestAnimationFrame(tick);
  };
  const play = (is) => {
    if (is && state.now >= trip.to) seek(trip.from);
    state.playing = is;
    last = 0;
    show.playing(state);
    if (is) requestAnimationFrame(tick);
  };

  return {
    state, seek, setSpan, goEvent, bin, play,
    pace(value) { state.pace = value; },
    toggle: () => play(!state.playing),
    step,
    leap: (seconds) => seek(state.now + seconds),
    start: () => seek(trip.from),
    finish: () => seek(trip.to),
    eventBefore: () => goEvent(begins.findLastIndex((begin) => begin < state.now - 1e-3)),
    eventAfter: () => goEvent(begins.findIndex((begin) => begin > state.now + 1e-3)),
    spanFrom: () => setSpan(bin(), Math.max(state.span[1], bin() + 1)),
    spanTo: () => setSpan(Math.min(state.span[0], bin()), bin() + 1),
    spanAll: () => setSpan(0, trip.n),
    zoomIn: () => zoom(0.5),
    zoomOut: () => zoom(2),
    zoomAll: () => setView(trip.from, trip.to),
    zoomSpan: () => {
      const [from, to] = [trip.start[state.span[0]], trip.end[state.span[1] - 1]];
      const room = Math.max(2, (to - from) * 0.05);
      setView(from - room, to + room);
    },
  };
};
