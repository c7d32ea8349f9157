// Names that mean harm stay text, and short.
import { each } from "./browser.mjs";

export const hostile = (browser, folder, pages) =>
  each(browser, folder, pages, {}, async (tab, page, fault) => {
    const seen = await tab.evaluate(() => ({
      title: document.title,
      scripts: [...document.scripts].filter((at) => !at.textContent.includes("backwatt") && !at.src).length,
      pictures: document.querySelectorAll("main :not(.handbook *) > img, main [onerror], main [onload], main [onclick]").length,
      text: document.body.textContent,
      // The made-up report never holds this figure: a name must not bring its own.
      figures: [...document.querySelectorAll("data")].filter((at) => at.value === "0" && at.dataset.digits === "7").length,
      long: [...document.querySelectorAll("td, li, p, a, span, text")].filter((at) => /W{100}/.test(at.textContent)).length,
      tall: Math.max(0, ...[...document.querySelectorAll("tr")].map((at) => at.getBoundingClientRect().height)),
    }));
    if (seen.title.startsWith("taken") || seen.scripts > 0 || seen.pictures > 0) fault("a name became markup");
    if (/[\u202a-\u202e\u2066-\u2069\ufdd0-\ufdd2]/.test(seen.text)) fault("a name turns the text around it");
    if (seen.figures > 0) fault("a name became a figure");
    if (seen.long > 0) fault(`${seen.long} names are shown in full length`);
    if (seen.tall > 600) fault(`a row is ${Math.round(seen.tall)} px high`);
    return 1;
  });
