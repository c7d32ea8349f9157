// Puts the parts together once the page stands.
const readout = (trip, say) => {
  const list = document.getElementById("rp-now");
  const rows = new Map();
  const row = (label) => {
    const [holder, term, value] = ["div", "dt", "dd"].map((name) => document.createElement(name));
    term.textContent = label;
    holder.append(term, value);
    list.append(holder);
    return value;
  };
  const put = (label, text) => {
    if (!rows.has(label)) rows.set(label, row(label));
    rows.get(label).textContent = text;
  };
  const figure = (name, kind, digits, i) => {
    const si = trip.value(name, i);
    return si === null ? "unknown" : say.figure(si, kind, digits);
  };
  const kilowatts = (value) => (value === null ? "not logged" : `${say.fixed(value, 1)} kW`);
  return {
    show(i, whatIf) {
      put("Speed", figure("speed_m_s", "speed", 0, i));
      put("Height", figure("height_m", "height", 0, i));
      put("Wheels, driving", kilowatts(trip.power.tractive(i)));
      put("Wheels, braking", kilowatts(trip.power.braking(i)));
      put("Terminals, as logged", kilowatts(trip.power.measured(i)));
      put("Terminals, modelled", kilowatts(trip.power.modelled(i)));
      if (trip.head.what_if) put("Terminals, what if", whatIf ? kilowatts(trip.power.changed(i)) : "switched off");
      put("State of charge", figure("soc_frac", "share", 1, i));
      put("Regen level", trip.pieceOf(i).level ?? "unknown");
    },
    spoken: (i) => `${say.clock(trip.start[i])}, ${figure("speed_m_s", "speed", 0, i)}, driving ${kilowatts(trip.power.tractive(i))}, braking ${kilowatts(trip.power.braking(i))}`,
  };
};

const start = (trip) => {
  const by = (id) => document.getElementById(id);
  const say = words(trip.head);
  const section = by("replay");
  section.hidden = false;
  document.documentElement.classList.add("rp-live");
  const whatIf = () => by("rp-what-if")?.checked ?? false;
  const ledger = makeLedger(trip, say);
  const instant = readout(trip, say);
  let player = null;
  const map = makeMap(trip, say, (time) => player.seek(time));
  const strips = makeStrips(trip, say, {
    seek: (time) => player.seek(time),
    span: (from, to) => player.setSpan(from, to),
    zoomAll: () => player.zoomAll(),
  });
  const scrub = by("rp-scrub");
  scrub.max = trip.n - 1;
  const now = () => {
    const i = player.bin();
    strips.play(player.state.now);
    map.play(i);
    instant.show(i, whatIf());
    scrub.value = i;
    scrub.setAttribute("aria-valuetext", instant.spoken(i));
    by("rp-clock").textContent = `${say.clock(player.state.now)} · ${say.elapsed(player.state.now)} of ${say.elapsed(trip.to)}`;
  };
  const span = ({ span: [from, to] }) => { ledger.show(from, to); strips.span(from, to); map.span(from, to); };
  player = makePlayer(trip, {
    now, span,
    view: ({ view: [from, to] }) => { strips.view(from, to); map.frame(from, to); },
    event: ({ event }) => { by("rp-event").textContent = `${event + 1} of ${trip.head.events.length}`; },
    playing: ({ playing }) => {
      by("rp-play").textContent = playing ? "Pause" : "Play";
      by("rp-play").setAttribute("aria-pressed", String(playing));
    },
  });

  by("rp-play").addEventListener("click", player.toggle);
  by("rp-pace").addEventListener("change", (event) => player.pace(Number(event.target.value)));
  scrub.addEventListener("input", () => player.seek(trip.start[Number(scrub.value)]));
  by("rp-what-if")?.addEventListener("change", () => { strips.whatIf(whatIf()); now(); });
  for (const button of document.querySelectorAll("[data-do]")) button.addEventListener("click", player[button.dataset.do]);
  for (const button of document.querySelectorAll("[data-event]")) {
    button.addEventListener("click", () => { player.goEvent(Number(button.dataset.event)); section.focus(); section.scrollIntoView(); });
  }
  if (!trip.head.events.length) for (const name of ["eventBefore", "eventAfter"]) document.querySelector(`[data-do=${name}]`).hidden = true;
  listen(section, player);
  // A link to an event opens the replay there.
  const linked = () => { const at = location.hash.match(/^#event-(\d{1,6})$/); if (at) player.goEvent(Number(at[1])); return at !== null; };
  addEventListener("hashchange", () => { if (linked()) section.scrollIntoView(); });
  document.addEventListener("units", () => { now(); span(player.state); });
  now();
  span(player.state);
  map.frame(trip.from, trip.to);
  if (linked()) section.scrollIntoView();
  window.backwattReplay = { trip, player };
};

// Keys count while something in the replay has the focus; what a control does with a key itself stays its own.
const listen = (section, player) => {
  const KEYS = {
    " ": player.toggle, ArrowLeft: () => player.step(-1), ArrowRight: () => player.step(1), Home: player.start, End: player.finish,
    p: player.eventBefore, n: player.eventAfter, "[": player.spanFrom, "]": player.spanTo, w: player.spanAll,
    "+": player.zoomIn, "=": player.zoomIn, "-": player.zoomOut, 0: player.zoomAll,
  };
  section.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const tag = event.target.tagName;
    if (tag === "SELECT" || (tag === "SUMMARY" && event.key === " ")) return;
    if ((tag === "BUTTON" || event.target.type === "checkbox") && (event.key === " " || event.key === "Enter")) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const leap = { ArrowLeft: -30, ArrowRight: 30 }[key];
    const act = event.shiftKey && leap ? () => player.leap(leap) : KEYS[key];
    if (!act) return;
    event.preventDefault();
    act();
  });
};

const head = JSON.parse(document.getElementById("rp-head").textContent);
const open = async () => makeTrip(head, await unpack(head, document.getElementById("rp-trace").textContent));
open().then(start).catch((fault) => {
  const told = document.getElementById("rp-fault");
  told.hidden = false;
  told.textContent = `The replay could not be drawn by this browser (${fault.message}). The tables below are complete; browsers since 2023 can draw it.`;
  console.error(fault);
});
