/* table.js: the wafer as a table: the same faces as the map, one key away. */
import { h, withU95 } from "./dom.js";
import { littleDie } from "./legend.js";
import { MARK, OUTCOME, TRUST, VERDICT } from "./words.js";

/**
 * @param {HTMLElement} box
 * @param {{caption: string, unit: string, rows: {key: string, face: import("./face.js").Face, step: number}[], picked: string, onPick: (key: string) => void}} view
 */
export function drawTable(box, view) {
        const focused = box.contains(document.activeElement) ? document.activeElement?.getAttribute("data-die") : null;
        box.replaceChildren(h("table", {}, h("caption", {}, view.caption),
                h("thead", {}, h("tr", {}, ...["Die x, y", "", "Value ± U95", "Outcome", "Verdict", "Trust", "Why"].map((t) => t ? h("th", { scope: "col" }, t) : h("td")))),
                h("tbody", {}, ...view.rows.map(({ key, face, step }) => h("tr", { class: key === view.picked ? "picked" : null },
                        h("th", { scope: "row" }, h("button", { type: "button", "data-die": key, "aria-pressed": String(key === view.picked), click: () => view.onPick(key) }, key.replace(",", ", ").replaceAll("-", "−"))),
                        h("td", { title: MARK[face.mark] }, littleDie(step >= 0 ? `step${step}` : "none", face.mark, face.border, 24)),
                        h("td", { class: "number" }, withU95(face.value, face.u95, view.unit)),
                        h("td", {}, OUTCOME[face.outcome] ?? face.outcome), h("td", {}, VERDICT[face.verdict] ?? face.verdict), h("td", {}, TRUST[face.border] ?? face.border),
                        h("td", { class: "quiet" }, face.reason))))));
        if (focused)
                /** @type {HTMLElement|null} */ (box.querySelector(`[data-die="${CSS.escape(focused)}"]`))?.focus({ preventScroll: true });
}
