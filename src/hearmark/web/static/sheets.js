// @ts-check
/** What a sheet covers by half is not shown at all: a button cut in two can be taken for another. */

/** @param {HTMLElement} bar the buttons */
export function clearSheets(bar) {
  const sheets = [...document.querySelectorAll("dialog")];
  const look = () => {
    const edge = Math.min(...sheets.filter((sheet) => sheet.open).map((sheet) => sheet.getBoundingClientRect().left));
    for (const button of bar.querySelectorAll("button")) button.classList.toggle("cut", button.getBoundingClientRect().right > edge);
  };
  for (const sheet of sheets) new MutationObserver(look).observe(sheet, { attributes: true, attributeFilter: ["open"] });
  addEventListener("resize", look);
}
