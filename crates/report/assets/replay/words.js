// Numbers and times as the page writes them.
const words = (head) => {
  const units = window.backwatt;
  const system = () => units.system();
  // As the program writes it: no sign before a zero.
  const fixed = (value, digits) => {
    const text = value.toFixed(digits);
    return /^-0(\.0*)?$/.test(text) ? text.slice(1) : text;
  };
  const two = (value) => String(value).padStart(2, "0");
  const elapsed = (seconds) => {
    const whole = Math.max(0, Math.floor(seconds));
    return `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}`;
  };
  // A zone the browser does not know is shown in UTC, and said so.
  let zone = head.is_relative ? "UTC" : head.zone || "UTC";
  try { new Intl.DateTimeFormat("en", { timeZone: zone }); } catch { zone = "UTC"; }
  const format = new Intl.DateTimeFormat("en-GB", { timeZone: zone, hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23" });
  const clock = (seconds) =>
    head.is_relative ? `${elapsed(seconds)} since setting off` : `${format.format(head.began_ms + 1000 * seconds)}${zone === "UTC" ? " UTC" : ""}`;
  return {
    zone, clock, elapsed, fixed, system,
    convert: (si, kind) => units.convert(si, kind, system()),
    unit: (kind) => units.word(kind, system()),
    figure: (si, kind, digits) => `${units.format(si, kind, digits, system())} ${units.word(kind, system())}`,
    // Whole tenths of a watt hour, as kWh.
    kwh: (steps) => fixed(steps / 10000, 4),
    percent: (part, whole) => (whole > 0 ? `${fixed((100 * part) / whole, 1)} %` : "–"),
  };
};
