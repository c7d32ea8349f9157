// Drives replay pages in headless Chromium: sums of spans against the tables, strips, map, keys, phone, print, harmful names.
// Prints each fault; ends with 1 if any. Usage: node replay.mjs --usual DIR --hostile DIR, each the folder of a report
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { accessible } from "./accessible.mjs";
import { address, each, launch, pagesOf } from "./browser.mjs";
import { hostile } from "./hostile.mjs";
import { keyboard, links, narrow, printed } from "./reading.mjs";

const given = Object.fromEntries(
  process.argv.slice(2).join(" ").split("--").filter(Boolean).map((part) => part.trim().split(/ (.*)/s)),
);
const faults = [];
const browser = await launch();
const run = async (name, work) => {
  const from = Date.now();
  const { checked, found } = await work();
  found.forEach((fault) => faults.push(`${name}: ${fault}`));
  if (checked === 0) faults.push(`${name}: nothing was there to check`);
  console.log(`${name.padEnd(22)} ${String(checked).padStart(6)} checked, ${found.length} faults, ${((Date.now() - from) / 1000).toFixed(1)} s`);
};
const live = (tab) => tab.waitForSelector("html.rp-live", { timeout: 10_000 });
const state = (tab) => tab.evaluate(() => structuredClone(window.backwattReplay.player.state));
// Tables of numbers alone: none of the cells read here is quoted.
const rowsOf = (folder, table, wanted) => {
  const [head, ...lines] = readFileSync(join(folder, "tables", `${table}.csv`), "utf8").trimEnd().split("\n");
  const names = head.split(",");
  return lines.map((line) => line.split(",")).map((cells) => Object.fromEntries(wanted.map((name) => [name, cells[names.indexOf(name)]])));
};
const tenths = (text) => Math.round(Number(text) * 10_000);
const accounts = (tab, name) =>
  tab.evaluate((name) => Object.fromEntries([...document.querySelectorAll(`[data-${name}]`)].map((at) => [at.getAttribute(`data-${name}`), at.textContent])), name);

/** The whole trip's span is the table's row, and spans add up to it exactly. */
const sums = (folder, pages) => {
  const trips = new Map(rowsOf(folder, "trips", ["trip_id", "energy_tractive_kwh", "energy_braking_kwh"]).map((row) => [row.trip_id, row]));
  return each(browser, folder, pages, {}, async (tab, page, fault) => {
    await live(tab);
    const [span, trip] = [await accounts(tab, "span"), await accounts(tab, "trip")];
    let checked = 0;
    for (const [name, text] of Object.entries(span)) {
      if (trip[name] === "–" && tenths(text === "–" ? 0 : text) === 0) continue;
      checked += 1;
      if (text !== trip[name]) fault(`${name}: ${text} summed over the page, ${trip[name]} in the tables`);
    }
    const row = trips.get(page.replace(/^.*\/|\.html$/g, ""));
    for (const name of ["energy_tractive_kwh", "energy_braking_kwh"]) {
      checked += 1;
      if (tenths(row?.[name]) !== tenths(span[name])) fault(`${name}: ${span[name]} on the page, ${row?.[name]} in trips.csv`);
    }
    const n = await tab.evaluate(() => window.backwattReplay.trip.n);
    const cuts = [Math.floor(n / 3), Math.floor((2 * n) / 3)].filter((cut) => cut > 0 && cut < n);
    const parts = [0, ...cuts, n].slice(0, -1).map((from, i) => [from, [...cuts, n][i]]);
    const totals = {};
    for (const part of parts) {
      await tab.evaluate(([from, to]) => window.backwattReplay.player.setSpan(from, to), part);
      for (const [name, text] of Object.entries(await accounts(tab, "span"))) totals[name] = (totals[name] ?? 0) + (text === "–" ? 0 : tenths(text));
    }
    for (const [name, total] of Object.entries(totals)) {
      checked += 1;
      if (span[name] !== "–" && total !== tenths(span[name])) fault(`${name}: parts add up to ${total}, the whole is ${tenths(span[name])} tenths of a watt hour`);
    }
    return checked;
  });
};

/** The span of a braking event holds the event's energy. Draws between slow samples are in no event: those trips are left out. */
const events = (folder, pages) => {
  const known = new Map();
  for (const row of rowsOf(folder, "braking_events", ["trip_id", "energy_braking_kwh", "energy_recoverable_kwh"])) {
    known.set(row.trip_id, [...(known.get(row.trip_id) ?? []), row]);
  }
  const claims = new Map(rowsOf(folder, "trips", ["trip_id", "braking_claim"]).map((row) => [row.trip_id, row.braking_claim]));
  return each(browser, folder, pages, {}, async (tab, page, fault) => {
    await live(tab);
    const trip = page.replace(/^.*\/|\.html$/g, "");
    if (claims.get(trip) === "imputed") return 0;
    let checked = 0;
    // A link to an event, as coaching sheets have them, opens the replay there.
    const last = (known.get(trip) ?? []).length - 1;
    if (last >= 0) {
      await tab.goto("about:blank");
      await tab.goto(`${address(folder, page)}#event-${last}`);
      await live(tab);
      checked += 1;
      const at = (await state(tab)).event;
      if (at !== last) fault(`a link to event ${last} opens event ${at}`);
    }
    for (const [number, row] of (known.get(trip) ?? []).entries()) {
      await tab.evaluate((at) => window.backwattReplay.player.goEvent(at), number);
      const span = await accounts(tab, "span");
      for (const name of ["energy_braking_kwh", "energy_recoverable_kwh"]) {
        checked += 1;
        // Either end of the span is rounded.
        if (Math.abs(tenths(span[name]) - Number(row[name]) * 10_000) > 1.0) fault(`event ${number}, ${name}: ${span[name]} in its span, ${row[name]} in the table`);
      }
    }
    return checked;
  });
};

/** Strips are drawn; dragging, clicking, zooming, playing and the what-if do what they say. */
const moves = (folder, pages) =>
  each(browser, folder, pages, { viewport: { width: 1280, height: 1200 } }, async (tab, page, fault) => {
    await live(tab);
    const inked = await tab.evaluate(() => [...document.querySelectorAll(".rp-strip canvas")].map((canvas) => {
      const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
      return data.some((value, i) => i % 4 === 3 && value > 0);
    }));
    if (inked.length < 3 || inked.includes(false)) fault(`${inked.filter(Boolean).length} of ${inked.length} strips are drawn`);
    const strip = tab.locator("[data-strip=wheel] .u-over");
    await strip.scrollIntoViewIfNeeded();
    const box = await strip.boundingBox();
    const at = (share) => [box.x + share * box.width, box.y + box.height / 2];
    const whole = await state(tab);
    await tab.mouse.move(...at(0.25));
    await tab.mouse.down();
    await tab.mouse.move(...at(0.4), { steps: 4 });
    await tab.mouse.move(...at(0.5), { steps: 4 });
    await tab.mouse.up();
    const dragged = await state(tab);
    const { n, length } = await tab.evaluate(() => ({ n: window.backwattReplay.trip.n, length: window.backwattReplay.trip.to }));
    if (dragged.span[0] === 0 || dragged.span[1] === n) fault(`a drag selects ${dragged.span} of ${n} bins`);
    if (dragged.now !== whole.now) fault("a drag moves the instant");
    const held = await tab.locator("[data-strip=speed] .rp-held").boundingBox();
    if (!held || Math.abs(held.x - at(0.25)[0]) > box.width / 20 + 3) fault("the span is not shown on the other strips");
    await tab.mouse.click(...at(0.75));
    const clicked = await state(tab);
    if (Math.abs(clicked.now - 0.75 * length) > 0.01 * length + 1) fault(`a click at three quarters goes to ${clicked.now} of ${length} s`);
    if (await tab.locator("#rp-map").count()) {
      const before = await tab.locator(".rp-here").getAttribute("cx");
      const map = await tab.locator("#rp-map").boundingBox();
      await tab.locator("#rp-map").click({ position: { x: 10, y: map.height / 2 } });
      if ((await state(tab)).now === clicked.now && (await tab.locator(".rp-here").getAttribute("cx")) === before) fault("a click on the map goes nowhere");
      if (!/ north is up$/.test(await tab.locator(".rp-rule-words").textContent())) fault("the map has no scale");
    }
    await tab.locator("[data-do=zoomSpan]").click();
    const zoomed = await state(tab);
    if (zoomed.view[1] - zoomed.view[0] >= length) fault("the zoom shows as much as before");
    const scales = await tab.evaluate(() => document.querySelectorAll(".rp-strip .uplot").length);
    if (scales !== inked.length) fault("a strip was lost");
    let more = 0;
    if (await tab.locator("#rp-what-if").count()) {
      const [driven, stated] = [await accounts(tab, "what-if"), await accounts(tab, "what-if-trip")];
      await tab.locator("[data-do=spanAll]").click();
      const all = await accounts(tab, "what-if");
      for (const [name, text] of Object.entries(all)) {
        more += 1;
        if (text !== stated[name]) fault(`what if, ${name}: ${text} summed over the page, ${stated[name]} in the table`);
      }
      if (JSON.stringify(driven) === JSON.stringify(all)) fault("the what-if does not follow the span");
      await tab.locator("#rp-what-if").check();
      if (!(await tab.locator("[data-strip=pack] .rp-key").allTextContents()).some((key) => key.includes("what if"))) fault("the what-if is not drawn");
    }
    return 8 + more;
  });

/** Keys scrub, play, step through events and zoom; nothing is taken from the controls. */
const keys = (folder, pages) =>
  each(browser, folder, pages, {}, async (tab, page, fault) => {
    await live(tab);
    await tab.locator("#rp-scrub").focus();
    const press = async (key) => { await tab.keyboard.press(key); return state(tab); };
    const first = await state(tab);
    const right = await press("ArrowRight");
    if (!(right.now > first.now)) fault("the right arrow does not scrub");
    if ((await press("ArrowLeft")).now !== first.now) fault("the left arrow does not go back");
    if ((await press("Shift+ArrowRight")).now < Math.min(29, (await tab.evaluate(() => window.backwattReplay.trip.to)) - 1)) fault("shift does not leap");
    await press("Home");
    if (!(await press(" ")).playing) fault("space does not play");
    await tab.waitForTimeout(400);
    const paused = await press(" ");
    if (paused.playing || !(paused.now > first.now)) fault(`playing went to ${paused.now}`);
    await press("Home");
    const events = await tab.evaluate(() => window.backwattReplay.trip.head.events.length);
    if (events > 0) {
      const one = await press("n");
      const text = await tab.locator("#rp-event").textContent();
      if (one.event !== 0 || text !== `1 of ${events}`) fault(`the first event is told as ${text}`);
      if (events > 1 && ((await press("n")).event !== 1 || (await press("p")).event !== 0)) fault("events are not stepped through");
    }
    const closer = await press("+");
    if (closer.view[1] - closer.view[0] >= first.view[1] - first.view[0] && first.view[1] > 45) fault("plus does not zoom");
    if ((await press("0")).view[1] !== first.view[1]) fault("zero does not show all");
    const spoken = await tab.locator("#rp-scrub").getAttribute("aria-valuetext");
    if (!/mph|km\/h/.test(spoken)) fault(`the slider says ${spoken}`);
    const n = await tab.evaluate(() => window.backwattReplay.trip.n);
    await press("w");
    await press("Home");
    for (let i = 0; i < 3; i += 1) await press("ArrowRight");
    const from = await press("[");
    if (n > 4 && (from.span[0] !== 3 || from.span[1] !== n)) fault(`the span from here is ${from.span}`);
    // The units' own radio buttons keep their arrows.
    await tab.locator("input[name=units]:checked").focus();
    const before = await tab.evaluate(() => document.documentElement.dataset.system);
    await tab.keyboard.press("ArrowRight");
    const after = await tab.evaluate(() => ({ system: document.documentElement.dataset.system, title: document.querySelector("[data-strip=speed] h3").textContent }));
    if (before === after.system) fault("units cannot be switched with the keyboard");
    await tab.waitForTimeout(100);
    const title = await tab.locator("[data-strip=speed] h3").textContent();
    if (title.includes("mph") !== (after.system === "us")) fault(`${after.system}: the strip is headed ${title}`);
    return 12;
  });

const pages = (folder) => pagesOf(folder).filter((page) => page.startsWith("replay/") && !page.endsWith("index.html"));
const usual = pages(given.usual);
const some = usual.filter((_, i) => i % 3 === 0);
const few = usual.filter((_, i) => i % Math.ceil(usual.length / 6) === 0);
await run("sums of spans", () => sums(given.usual, some));
await run("events", () => events(given.usual, some));
await run("moves", () => moves(given.usual, few));
await run("keys", () => keys(given.usual, few));
await run("links", () => links(given.usual, pagesOf(given.usual)));
await run("phone", () => narrow(browser, given.usual, [...few, "replay/index.html"]));
await run("print", () => printed(browser, given.usual, [...few, "replay/index.html"]));
await run("keyboard walk", () => keyboard(browser, given.usual, few.slice(0, 2)));
await run("accessible, light", () => accessible(browser, given.usual, [...few, "replay/index.html"], "light"));
await run("accessible, dark", () => accessible(browser, given.usual, few, "dark"));
const bad = pages(given.hostile);
await run("hostile, moves", () => moves(given.hostile, bad));
await run("hostile names", () => hostile(browser, given.hostile, [...bad, "replay/index.html"]));
await run("hostile, phone", () => narrow(browser, given.hostile, bad));

await browser.close();
faults.slice(0, 60).forEach((fault) => console.error(fault));
if (faults.length > 0) {
  console.error(`${faults.length} faults`);
  process.exit(1);
}
