// The trace of the page as series of whole steps: the counterpart of pack.rs.
const unpack = async (head, text) => {
  const packed = Uint8Array.from(atob(text.trim()), (c) => c.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  const bytes = new Uint8Array(await new Response(stream).arrayBuffer());
  let at = 0;
  const unsigned = () => {
    let value = 0, scale = 1, byte;
    do {
      byte = bytes[at++];
      value += (byte & 127) * scale;
      scale *= 128;
    } while (byte > 127);
    return value;
  };
  const signed = () => {
    const value = unsigned();
    return value % 2 ? -(value + 1) / 2 : value / 2;
  };
  // Lengths of known and blank stretches in turn, the first known.
  const stretches = (count) => {
    const known = new Uint8Array(count);
    for (let from = 0, is = 1; from < count; is = 1 - is) {
      const to = from + unsigned();
      known.fill(is, from, to);
      from = to;
    }
    return known;
  };
  const series = {};
  for (const [name, perUnit, hasBlanks] of head.series) {
    const known = hasBlanks ? stretches(head.bins) : null;
    const steps = new Float64Array(head.bins);
    for (let i = 0, now = 0; i < head.bins; i++) steps[i] = now += signed();
    series[name] = { perUnit, steps, known };
  }
  if (at !== bytes.length) throw new Error("the trace is of another length than its head says");
  return series;
};
