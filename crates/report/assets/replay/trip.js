// A trip in bins: values at the start of each, sums over any span of them.
const makeTrip = (head, series) => {
  const n = head.bins;
  const start = Float64Array.from(series.start_ms.steps, (ms) => ms / 1000);
  const end = Float64Array.from(start, (s, i) => s + series.length_ms.steps[i] / 1000);
  const pieceOf = (i) => head.pieces[series.piece.steps[i]];
  const value = (name, i) => {
    const of = series[name];
    return of.known && !of.known[i] ? null : of.steps[i] / of.perUnit;
  };
  // Steps from the start of bin `from` to the end of the bin before `to`.
  const steps = (name, from, to) =>
    to > from ? series[name].steps[to - 1] - (from > 0 ? series[name].steps[from - 1] : 0) : 0;
  const sum = (name, from, to) => steps(name, from, to) / series[name].perUnit;
  const seconds = (i) => sum("duration_s", i, i + 1);
  const kilowatts = (kwh, i) => (seconds(i) > 0 ? (kwh * 3600) / seconds(i) : null);

  // The bin that holds an instant, or the one before the gap it lies in.
  const at = (time) => {
    let low = 0, high = n - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (start[middle] <= time + 5e-4) low = middle; else high = middle - 1;
    }
    return low;
  };
  // Bins whose middle lies between two instants; never none.
  const span = (from, to) => {
    const middle = (i) => (start[i] + end[i]) / 2;
    let first = at(from), last = at(to);
    if (middle(first) < from && first < n - 1) first++;
    if (middle(last) > to && last > first) last--;
    return last < first ? [first, first + 1] : [first, last + 1];
  };

  const of = (name) => (i) => sum(name, i, i + 1);
  const [tractive, braking] = [of("energy_tractive_kwh"), of("energy_braking_kwh")];
  const [drive, auxiliary] = [of("energy_drive_dc_kwh"), of("energy_auxiliary_kwh")];
  const [fed, recoverable] = [of("braking_to_auxiliaries_kwh"), of("energy_recoverable_kwh")];
  const logged = ["recovered", "returned_unknown_store", "unbraked_inflow", "plugged"].map((name) => of(`energy_${name}_kwh`));
  const discharged = of("energy_discharged_kwh");
  const power = {
    tractive: (i) => kilowatts(tractive(i), i),
    braking: (i) => kilowatts(-braking(i), i),
    modelled: (i) => kilowatts(drive(i) + auxiliary(i) - fed(i) - recoverable(i), i),
    measured: (i) => (pieceOf(i).measured ? kilowatts(discharged(i) - logged.reduce((all, one) => all + one(i), 0), i) : null),
    changed: (i) => {
      const time = head.what_if ? sum("what_if.duration.changed", i, i + 1) : 0;
      return time > 0 ? (sum("what_if.net.changed", i, i + 1) * 3600) / time : null;
    },
  };
  const hasPositions = series.lat_deg.known.some((known) => known);
  return { head, n, start, end, pieceOf, value, steps, sum, at, span, power, hasPositions, from: start[0], to: end[n - 1] };
};
