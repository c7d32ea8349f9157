// Time strips, one below the other over one axis of time.
const makeStrips = (trip, say, on) => {
  const box = document.getElementById("rp-strips");
  const levels = [...new Set(trip.head.pieces.map((piece) => piece.level ?? "unknown"))];
  const at = (name) => (i) => trip.value(name, i);
  const shown = (name, kind) => (i) => { const si = trip.value(name, i); return si === null ? null : say.convert(si, kind); };
  const percent = (name) => (i) => { const share = trip.value(name, i); return share === null ? null : 100 * share; };
  // Line patterns tell the lines apart where colours do not.
  const LINES = { solid: [], dashes: [7, 4], dots: [2, 3] };
  const STRIPS = [
    { id: "speed", title: () => `Speed, ${say.unit("speed")}`, height: 104, zero: true, series: [{ of: shown("speed_m_s", "speed"), ink: "--ink", line: "solid" }] },
    { id: "height", title: () => `Height as the ledger has it, ${say.unit("height")}`, height: 76, absent: "Height is unknown: the ledger ran flat.", series: [{ of: shown("height_m", "height"), ink: "--faint", line: "solid", fill: "--mark" }] },
    { id: "wheel", title: () => "Power at the wheels, kW: driving above the line, braking below it", height: 132, zero: true, series: [
      { of: trip.power.tractive, ink: "--faint", line: "solid", stepped: true, fill: "--mark" },
      { of: trip.power.braking, ink: "--kept", line: "solid", stepped: true, fill: "--kept" }] },
    { id: "pack", title: () => "Power at the battery terminals, kW: out above the line, in below it", height: 132, zero: true, series: [
      { name: "as logged", of: trip.power.measured, ink: "--ink", line: "solid", stepped: true },
      { name: "modelled", of: trip.power.modelled, ink: "--taken", line: "dashes", stepped: true, width: 1.6 },
      { name: "what if, modelled", of: trip.power.changed, ink: "--kept", line: "dots", stepped: true, width: 2, whatIf: true }] },
    { id: "soc", title: () => "State of charge, %", height: 76, absent: "State of charge is not logged.", series: [
      { name: "as logged", of: percent("soc_frac"), ink: "--ink", line: "solid", stepped: true },
      ...(trip.head.what_if ? [{ name: "what if", of: percent("what_if.soc"), ink: "--kept", line: "dots", width: 2, whatIf: true }] : [])] },
    { id: "level", title: () => "Regen level as set", height: 34 + 22 * Math.min(5, levels.length), levels: true, series: [
      { of: (i) => levels.length - 1 - levels.indexOf(trip.pieceOf(i).level ?? "unknown"), ink: "--ink", line: "solid", stepped: true, width: 2.5 }] },
  ];

  // A bin holds until its end; a gap is a gap.
  const times = [], bins = [];
  for (let i = 0; i < trip.n; i++) {
    times.push(trip.start[i]); bins.push(i);
    if (i === trip.n - 1 || trip.start[i + 1] - trip.end[i] > 5e-4) {
      times.push(trip.end[i]); bins.push(i);
      if (i < trip.n - 1) { times.push(trip.end[i] + 1e-3); bins.push(-1); }
    }
  }
  const column = (of) => bins.map((i) => (i < 0 ? null : of(i)));
  const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const narrow = () => box.clientWidth < 480;
  let plots = [], whatIf = false, printing = false, view = [trip.from, trip.to], span = [0, trip.n], now = trip.from;

  const values = (strip) => strip.series.map((series) => (series.whatIf && !whatIf ? bins.map(() => null) : column(series.of)));
  const isEmpty = (strip) => strip.series.every((series) => !bins.some((i) => i >= 0 && series.of(i) !== null));
  const clock = (splits, step) => splits.map((s) => (trip.head.is_relative ? say.elapsed(s) : say.clock(s).slice(0, step < 60 ? 8 : 5)));
  const range = (strip) => (_, low, high) => {
    if (strip.levels) return [-0.5, levels.length - 0.5];
    if (low === null) return [0, 1];
    const [from, to] = strip.zero ? [Math.min(0, low), Math.max(0, high)] : [low, high];
    const room = Math.max((to - from) * 0.08, strip.id === "soc" ? 0.5 : 1);
    return [strip.zero && from === 0 ? 0 : from - room, to + room];
  };
  const options = (strip, isLast) => {
    const [ink, line] = [css("--faint"), css("--line")];
    const font = `${narrow() ? 11 : 12}px "Source Sans 3", "Segoe UI", system-ui, sans-serif`;
    const axis = { stroke: ink, font, grid: { stroke: line, width: 1 }, ticks: { show: false } };
    return {
      width: box.clientWidth, height: strip.height + (isLast ? 26 : 0), legend: { show: false }, pxAlign: 1, padding: [6, 18, isLast ? 0 : 6, 0],
      // The data stay in seconds since setting off; zones are the words' affair.
      tzDate: (s) => uPlot.tzDate(new Date(s * 1000), "Etc/UTC"),
      cursor: { x: false, y: false, points: { show: false }, drag: { x: true, y: false, setScale: false }, bind: { dblclick: () => () => on.zoomAll() } },
      select: { show: true, left: 0, top: 0, width: 0, height: 0 },
      scales: { x: { time: false, min: view[0], max: view[1] }, y: { range: range(strip) } },
      axes: [
        { ...axis, show: isLast, size: 26, space: 80, incrs: [1, 2, 5, 10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400], values: (_, splits, __, ___, step) => clock(splits, step) },
        strip.levels
          ? { ...axis, size: narrow() ? 52 : 64, splits: () => levels.map((_, i) => i), values: (_, splits) => splits.map((i) => levels[levels.length - 1 - i].slice(0, narrow() ? 7 : 9)) }
          : { ...axis, size: narrow() ? 52 : 64, space: 24, values: (_, splits) => splits.map((v) => say.fixed(v, Number.isInteger(v) ? 0 : 1)) },
      ],
      series: [{}, ...strip.series.map((series) => ({
        stroke: css(series.ink), width: series.width || 1.2, dash: LINES[series.line], points: { show: false }, spanGaps: false,
        fill: series.fill ? css(series.fill) : undefined, fillTo: strip.zero ? 0 : undefined,
        paths: series.stepped ? uPlot.paths.stepped({ align: 1 }) : undefined,
      }))],
      hooks: { setSelect: [(plot) => pick(plot)], draw: strip.zero ? [zeroLine] : [] },
    };
  };
  const zeroLine = (plot) => {
    const y = Math.round(plot.valToPos(0, "y", true)) + 0.5, { left, width } = plot.bbox;
    plot.ctx.save();
    plot.ctx.strokeStyle = css("--faint");
    plot.ctx.beginPath(); plot.ctx.moveTo(left, y); plot.ctx.lineTo(left + width, y); plot.ctx.stroke();
    plot.ctx.restore();
  };
  // A drag is a span, less than three points of one a click.
  const pick = (plot) => {
    const { left, width } = plot.select;
    if (width <= 0) return;
    const [from, to] = [plot.posToVal(left, "x"), plot.posToVal(left + width, "x")];
    plot.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
    if (width >= 3) on.span(...trip.span(from, to));
  };
  const overlay = (plot) => {
    const add = (name) => { const made = document.createElement("div"); made.className = name; plot.over.append(made); return made; };
    const [held, head] = [add("rp-held"), add("rp-head-line")];
    let down = null;
    plot.over.addEventListener("mousedown", (event) => { down = event.clientX; });
    plot.over.addEventListener("click", (event) => {
      if (down === null || Math.abs(event.clientX - down) < 3) on.seek(plot.posToVal(event.clientX - plot.over.getBoundingClientRect().left, "x"));
    });
    return { held, head };
  };
  const place = () => {
    const part = (time) => (time - view[0]) / (view[1] - view[0]);
    const whole = span[0] === 0 && span[1] === trip.n;
    for (const { over } of plots) {
      const [left, right] = [trip.start[span[0]], trip.end[span[1] - 1]].map((time) => Math.min(1, Math.max(0, part(time))));
      over.held.style.display = whole || right <= left ? "none" : "block";
      over.held.style.left = `${100 * left}%`;
      over.held.style.width = `${100 * (right - left)}%`;
      const x = part(now);
      over.head.style.display = x < 0 || x > 1 ? "none" : "block";
      over.head.style.left = `${100 * x}%`;
    }
  };
  const key = (series) => {
    const span = document.createElement("span");
    span.className = "rp-key";
    const sample = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    sample.setAttribute("viewBox", "0 0 28 8");
    sample.setAttribute("aria-hidden", "true");
    const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
    line.setAttribute("d", "M0 4H28");
    line.setAttribute("class", `rp-key-line rp-key${series.ink}`);
    line.setAttribute("stroke-dasharray", LINES[series.line].join(" "));
    sample.append(line);
    span.append(sample, ` ${series.name}`);
    return span;
  };
  const build = () => {
    plots.forEach(({ plot }) => plot.destroy());
    box.replaceChildren();
    plots = [];
    const drawn = STRIPS.filter((strip) => !isEmpty(strip));
    for (const strip of STRIPS) {
      const holder = document.createElement("div");
      holder.className = "rp-strip";
      holder.dataset.strip = strip.id;
      const title = document.createElement("h3");
      title.textContent = strip.title();
      for (const series of strip.series) if (series.name && (!series.whatIf || whatIf)) title.append(key(series));
      holder.append(title);
      box.append(holder);
      if (!drawn.includes(strip)) {
        const none = document.createElement("p");
        none.className = "note";
        none.textContent = strip.absent || "Not logged.";
        holder.append(none);
        continue;
      }
      const canvas = document.createElement("div");
      canvas.setAttribute("role", "img");
      canvas.setAttribute("aria-label", `${strip.title()}; the values at an instant stand beside, the sums in the ledger`);
      holder.append(canvas);
      const plot = new uPlot(options(strip, strip === drawn.at(-1)), [times, ...values(strip)], canvas);
      plots.push({ plot, strip, over: overlay(plot) });
    }
    place();
  };
  let waiting = 0;
  const again = () => { cancelAnimationFrame(waiting); waiting = requestAnimationFrame(build); };
  // Of the last drawing: an observer speaks once before anything has changed.
  let width = box.clientWidth;
  new ResizeObserver(() => { if (!printing && box.clientWidth !== width) { width = box.clientWidth; again(); } }).observe(box);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", again);
  document.addEventListener("units", again);
  // Paper is white whatever the screen is.
  addEventListener("beforeprint", () => { printing = true; document.documentElement.classList.add("rp-paper"); build(); });
  addEventListener("afterprint", () => { printing = false; document.documentElement.classList.remove("rp-paper"); build(); });
  build();
  return {
    view(from, to) { view = [from, to]; plots.forEach(({ plot }) => plot.setScale("x", { min: from, max: to })); place(); },
    span(from, to) { span = [from, to]; place(); },
    play(time) { now = time; place(); },
    whatIf(is) { whatIf = is; build(); },
    levelAt: (i) => trip.pieceOf(i).level ?? "unknown",
    at,
  };
};
