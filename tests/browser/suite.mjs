// Drives reports in headless Chromium: what a reader, a printer and a keyboard meet. Prints each fault; ends with 1 if any.
// Usage: node suite.mjs --usual DIR --metric DIR --hostile DIR --shared DIR
import { launch, pagesOf } from "./browser.mjs";
import { accessible } from "./accessible.mjs";
import { figures, switches } from "./figures.mjs";
import { hostile } from "./hostile.mjs";
import { keyboard, links, narrow, notes, opens, printed, wide } from "./reading.mjs";

const given = Object.fromEntries(
  process.argv.slice(2).join(" ").split("--").filter(Boolean).map((part) => part.trim().split(/ (.*)/s)),
);
const faults = [];
const counts = {};
const start = Date.now();
const browser = await launch();

const run = async (name, work) => {
  const from = Date.now();
  const { checked, found } = await work();
  counts[name] = checked;
  found.forEach((fault) => faults.push(`${name}: ${fault}`));
  if (checked === 0) faults.push(`${name}: nothing was there to check`);
  console.log(`${name.padEnd(22)} ${String(checked).padStart(6)} checked, ${found.length} faults, ${((Date.now() - from) / 1000).toFixed(1)} s`);
};

const usual = pagesOf(given.usual);
// The handbook's pages are alike, and so are the sheets: where a check is slow, some of each stand for all.
const some = (pages) => pages.filter((page) =>
  !page.includes("/") || /^drivers\/sheet-0[12]|^methods\/(ledger|study|routes)/.test(page) || page.startsWith("trips/"));
const few = some(usual);
const bad = some(pagesOf(given.hostile));
const shared = pagesOf(given.shared);
// Two tabs at a time: a check waits for the browser more than it works.
const lanes = [
  async () => {
    await run("opens", () => opens(browser, given.usual, usual));
    await run("links", () => links(given.usual, usual));
    await run("figures are tables", () => figures(browser, given.usual, usual));
    await run("unit switch", () => switches(browser, given.usual, given.metric, usual.filter((page) => !page.startsWith("methods/"))));
    await run("phone", () => narrow(browser, given.usual, usual));
    await run("notes", () => notes(browser, given.usual, few));
    await run("desk", () => wide(browser, given.usual, few));
    await run("print", () => printed(browser, given.usual, few));
    await run("hostile, opens", () => opens(browser, given.hostile, bad));
    await run("hostile names", () => hostile(browser, given.hostile, bad));
    await run("hostile, phone", () => narrow(browser, given.hostile, bad));
  },
  async () => {
    await run("accessible, light", () => accessible(browser, given.usual, few, "light"));
    await run("accessible, dark", () => accessible(browser, given.usual, few, "dark"));
    await run("keyboard", () => keyboard(browser, given.usual, few));
    await run("copy, opens", () => opens(browser, given.shared, some(shared)));
    await run("copy, links", () => links(given.shared, shared));
    await run("copy, figures", () => figures(browser, given.shared, some(shared)));
  },
];
await Promise.all(lanes.map((lane) => lane()));

await browser.close();
console.log(`${Object.keys(counts).length} checks over ${usual.length} pages in ${((Date.now() - start) / 1000).toFixed(1)} s`);
faults.slice(0, 60).forEach((fault) => console.error(fault));
if (faults.length > 0) {
  console.error(`${faults.length} faults`);
  process.exit(1);
}
