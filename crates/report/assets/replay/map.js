// The way as lines: north up, lengths true to the cosine of the middle latitude, a scale bar, no tiles.
const makeMap = (trip, say, seek) => {
  const M_PER_DEGREE = 111195.08;
  const [WIDTH, MARGIN, FOOT, LEAST_M] = [400, 14, 42, 150];
  const svg = document.getElementById("rp-map");
  const caption = document.getElementById("rp-map-words");
  if (!trip.hasPositions) {
    svg.remove();
    caption.textContent = "No positions are logged: there is no way to draw.";
    return { frame() {}, span() {}, play() {} };
  }
  const make = (name, to, attributes = {}) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    return to.appendChild(made);
  };
  const place = (i) => {
    const [lat, lon] = [trip.value("lat_deg", i), trip.value("lon_deg", i)];
    return lat === null || lon === null ? null : [lon, lat];
  };
  const places = Array.from({ length: trip.n }, (_, i) => place(i));
  const way = make("path", svg, { class: "rp-way" });
  const unknown = make("path", svg, { class: "rp-way-unknown" });
  const held = make("path", svg, { class: "rp-way-span" });
  const brakes = make("path", svg, { class: "rp-way-braking" });
  const ends = make("g", svg);
  const rule = make("path", svg, { class: "rp-rule" });
  const ruleWords = make("text", svg, { class: "rp-rule-words" });
  const ring = make("circle", svg, { class: "rp-here", r: 7 });
  let project = () => [0, 0], spans = [0, trip.n], window_ = [trip.from, trip.to], height = 300, here = 0;

  const fit = ([from, to]) => {
    const seen = places.filter((at, i) => at && trip.end[i] >= from && trip.start[i] <= to);
    const of = seen.length ? seen : places.filter((at) => at);
    let [west, south, east, north] = [Infinity, Infinity, -Infinity, -Infinity];
    for (const [x, y] of of) [west, south, east, north] = [Math.min(west, x), Math.min(south, y), Math.max(east, x), Math.max(north, y)];
    const shrink = Math.cos((((south + north) / 2) * Math.PI) / 180);
    const wide = Math.max(LEAST_M, (east - west) * shrink * M_PER_DEGREE);
    const tall = Math.max(LEAST_M, (north - south) * M_PER_DEGREE);
    const scale = Math.min((WIDTH - 2 * MARGIN) / wide, (360 - 2 * MARGIN) / tall);
    height = Math.max(180, tall * scale + 2 * MARGIN);
    const [midX, midY] = [(west + east) / 2, (south + north) / 2];
    project = ([x, y]) => [
      WIDTH / 2 + (x - midX) * shrink * M_PER_DEGREE * scale,
      height / 2 - (y - midY) * M_PER_DEGREE * scale,
    ];
    svg.setAttribute("viewBox", `0 0 ${WIDTH} ${(height + FOOT).toFixed(0)}`);
    return scale;
  };
  // Points closer than half a point of the drawing are left out.
  const line = (from, to, wanted = () => true) => {
    let text = "", last = null, pen = "M";
    for (let i = from; i < to; i++) {
      if (!places[i] || !wanted(i)) { pen = "M"; last = null; continue; }
      const [x, y] = project(places[i]);
      if (last && Math.hypot(x - last[0], y - last[1]) < 0.5) continue;
      if (pen === "M" || x !== last?.[0] || y !== last?.[1]) text += `${pen}${x.toFixed(1)} ${y.toFixed(1)}`;
      [last, pen] = [[x, y], "L"];
    }
    return text;
  };
  // From where positions cease to where they begin again.
  const gaps = () => {
    let text = "", last = null;
    for (let i = 0; i < trip.n; i++) {
      if (!places[i]) continue;
      if (last !== null && i - last > 1) text += `M${project(places[last]).map((x) => x.toFixed(1)).join(" ")}L${project(places[i]).map((x) => x.toFixed(1)).join(" ")}`;
      last = i;
    }
    return text;
  };
  const bar = (scale) => {
    const metre = say.system() === "us" ? 1609.344 : 1000;
    const wanted = WIDTH / 4 / scale / metre, power = 10 ** Math.floor(Math.log10(wanted));
    const length = [5, 2, 1].map((f) => f * power).find((l) => l <= wanted) || power;
    const [right, y] = [WIDTH - MARGIN, height + 14];
    rule.setAttribute("d", `M${(right - length * metre * scale).toFixed(1)} ${y}v5H${right}v-5`);
    ruleWords.textContent = `${Number(length.toPrecision(2))} ${say.unit("distance")}, north is up`;
    for (const [key, value] of Object.entries({ x: right, y: y + 18, "text-anchor": "end" })) ruleWords.setAttribute(key, value);
  };
  const mark = (i, text, shape) => {
    const at = places[i] && project(places[i]);
    if (!at) return;
    const [x, y] = at;
    if (shape === "ring") make("circle", ends, { class: "rp-end", cx: x, cy: y, r: 5 });
    else make("rect", ends, { class: "rp-end", x: x - 4.5, y: y - 4.5, width: 9, height: 9 });
    make("text", ends, { class: "rp-end-words", x: x > WIDTH - 70 ? x - 9 : x + 9, y: y + 4, "text-anchor": x > WIDTH - 70 ? "end" : "start" }).textContent = text;
  };
  const draw = () => {
    const scale = fit(window_);
    way.setAttribute("d", line(0, trip.n));
    unknown.setAttribute("d", gaps());
    held.setAttribute("d", spans[0] === 0 && spans[1] === trip.n ? "" : line(...spans));
    const braking = new Uint8Array(trip.n);
    for (const [from, to] of trip.head.events) braking.fill(1, ...trip.span(from / 1000, to / 1000));
    brakes.setAttribute("d", line(0, trip.n, (i) => braking[i]));
    ends.replaceChildren();
    const first = places.findIndex((at) => at), last = places.findLastIndex((at) => at);
    const near = Math.hypot(...project(places[first]).map((x, k) => x - project(places[last])[k])) < 30;
    mark(first, near ? "start and end" : "start", "ring");
    mark(last, near ? "" : "end", "square");
    bar(scale);
    move();
  };
  const move = () => {
    const i = places[here] ? here : places.slice(0, here).findLastIndex((at) => at);
    const at = places[i] && project(places[i]);
    ring.setAttribute("visibility", at ? "visible" : "hidden");
    if (at) { ring.setAttribute("cx", at[0].toFixed(1)); ring.setAttribute("cy", at[1].toFixed(1)); }
  };
  svg.addEventListener("click", (event) => {
    const box = svg.getBoundingClientRect(), scale = WIDTH / box.width;
    const [x, y] = [(event.clientX - box.left) * scale, (event.clientY - box.top) * scale];
    let best = 0, least = Infinity;
    places.forEach((at, i) => {
      if (!at) return;
      const [px, py] = project(at), far = Math.hypot(px - x, py - y);
      if (far < least) [best, least] = [i, far];
    });
    seek(trip.start[best]);
  });
  caption.textContent = "Broad: braking events. The ring is where the truck is at this instant. Positions as logged, joined by straight lines; dotted where none are logged.";
  document.addEventListener("units", draw);
  return {
    frame(from, to) { window_ = [from, to]; draw(); },
    span(from, to) { spans = [from, to]; draw(); },
    play(i) { here = i; move(); },
  };
};
