// axe-core (Deque Systems, MPL-2.0; rules after WCAG 2): nothing serious, nothing critical.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { each } from "./browser.mjs";

const AXE = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

export const accessible = (browser, folder, pages, colorScheme) =>
  each(browser, folder, pages, { colorScheme }, async (tab, page, fault) => {
    const ground = await tab.evaluate(() => getComputedStyle(document.body).backgroundColor);
    const lightness = ground.match(/\d+/g).slice(0, 3).reduce((sum, part) => sum + Number(part), 0) / 3;
    if (colorScheme === "dark" ? lightness > 80 : lightness < 200) fault(`the ground is ${ground} in ${colorScheme}`);
    // Through the debugger, which the page's policy does not bind.
    await tab.evaluate(AXE);
    // Colours are all that differ in the dark.
    // Without fetching style sheets again, which the policy refuses.
    const options = { preload: false, resultTypes: ["violations"], ...(colorScheme === "dark" && { runOnly: ["color-contrast"] }) };
    const { violations, passes } = await tab.evaluate((asked) => window.axe.run(document, asked), options);
    for (const one of violations.filter((at) => at.impact === "serious" || at.impact === "critical")) {
      fault(`${one.impact} ${one.id}: ${one.nodes.length} times, first ${one.nodes[0].html.slice(0, 160)} ${one.nodes[0].failureSummary?.replace(/\s+/g, " ").slice(0, 200)}`);
    }
    return passes.length;
  });
