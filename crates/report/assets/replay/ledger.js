// The ledger of a span: differences of the trace's running sums, in whole tenths of a watt hour.
const makeLedger = (trip, say) => {
  // Less than 5 Wh of braking: a share of it would say more of the rounding than of the truck.
  const LEAST = 50;
  const cells = (name) => document.querySelectorAll(`[data-${name}]`);

  const fillAccounts = (from, to, hasBattery) => {
    for (const cell of cells("span")) {
      const unknown = cell.hasAttribute("data-logged") && !hasBattery;
      cell.textContent = unknown ? "–" : say.kwh(trip.steps(cell.dataset.span, from, to));
    }
    for (const cell of cells("share")) {
      const whole = cell.closest("table").dataset.shareOf;
      const of = whole ? trip.steps(whole, from, to) : 0;
      cell.textContent = whole && of >= LEAST ? say.percent(trip.steps(cell.dataset.share, from, to), of) : "";
    }
  };
  const fillWhatIf = (from, to) => {
    for (const cell of cells("what-if")) cell.textContent = say.kwh(trip.steps(`what_if.${cell.dataset.whatIf}`, from, to));
    for (const cell of cells("what-if-change")) {
      const [driven, changed] = ["driven", "changed"].map((side) => trip.steps(`what_if.${cell.dataset.whatIfChange}.${side}`, from, to));
      cell.textContent = (changed > driven ? "+" : "") + say.kwh(changed - driven);
    }
  };
  const measuredShare = (from, to) => {
    let known = 0;
    for (let i = from; i < to; i++) if (trip.pieceOf(i).measured) known += trip.sum("duration_s", i, i + 1);
    const all = trip.sum("duration_s", from, to);
    return all > 0 ? known / all : 0;
  };
  const told = (from, to, share) => {
    const braking = trip.steps("energy_braking_kwh", from, to);
    const whole = from === 0 && to === trip.n ? "Whole trip" : `${say.clock(trip.start[from])} to ${say.clock(trip.end[to - 1])}`;
    const time = say.elapsed(trip.sum("duration_s", from, to));
    const parts = [`${whole}: ${time} (h:min:s) and ${say.figure(trip.sum("distance_m", from, to), "distance", 2)}.`];
    if (braking < LEAST) return parts.concat("Hardly anything was braked in it.").join(" ");
    const of = (name) => `${say.kwh(trip.steps(name, from, to))} kWh (${say.percent(trip.steps(name, from, to), braking)})`;
    parts.push(`Braked at the wheels ${say.kwh(braking)} kWh; recoverable at the level as set ${of("energy_recoverable_kwh")} of that, modelled${share > 0 ? "," : ";"}`);
    parts.push(share > 0
      ? `and recovered ${of("energy_recovered_kwh")}, as logged${share < 0.999 ? ` for ${say.fixed(100 * share, 0)} % of the time` : ""}.`
      : "battery power is not logged: what came back is estimated for segments and trips, not for a span.");
    const used = trip.steps("energy_discharged_kwh", from, to);
    if (share > 0 && used >= LEAST) parts.push(`Recovered is ${say.percent(trip.steps("energy_recovered_kwh", from, to), used)} of the span's gross discharge of ${say.kwh(used)} kWh.`);
    return parts.join(" ");
  };
  // Two roads to one figure: the sums of this page's intervals, and the table's row.
  const agreement = () => {
    let compared = 0, differ = 0;
    for (const cell of cells("trip")) {
      const beside = document.querySelector(`[data-span="${cell.dataset.trip}"]`).textContent;
      if (cell.textContent === "–" || beside === "–") continue;
      compared++;
      if (cell.textContent !== beside) differ++;
    }
    return differ ? `${differ} of ${compared} sums over the intervals differ from the tables.` : `Over the whole trip all ${compared} sums of the intervals equal the tables'.`;
  };

  const agrees = document.getElementById("rp-agrees");
  return {
    show(from, to) {
      const share = measuredShare(from, to);
      fillAccounts(from, to, share > 0);
      if (trip.head.what_if) fillWhatIf(from, to);
      document.getElementById("rp-span").textContent = told(from, to, share);
      if (from === 0 && to === trip.n) agrees.textContent = agreement();
    },
  };
};
