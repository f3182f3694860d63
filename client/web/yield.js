/* yield.js: how many are good, between what the truth lies, and how the values lie to their limits; the daemon counts, this shows. */
import { count, h, quantity } from "./dom.js";

/** @typedef {import("./api.js").Yield} Yield */
/** @typedef {import("./api.js").Shares} Shares */

const percent = (/** @type {number} */ share) => `${(100 * share).toFixed(1)} %`;
const number = (/** @type {string|null} */ words, quiet = false) => h("td", { class: quiet ? "number quiet" : "number" }, words ?? "");
const names = (/** @type {import("./api.js").DieXY[]} */ dies) => dies.slice(0, 4).map((d) => `${d.x}, ${d.y}`.replaceAll("-", "−")).join("; ") + (dies.length > 4 ? `; and ${dies.length - 4} more` : "");

/** Good, share, interval, at the first touch; all empty where nothing has a verdict. @param {Shares} y */
const shares = (y) => y.n && y.share !== null ? [number(`${y.good} of ${y.n}`), number(percent(y.share)), number(`${(100 * (y.wilson[0] ?? 0)).toFixed(1)} to ${percent(y.wilson[1] ?? 0)}`, true), number(`${y.good_at_first_touch}`, true)]
        : [h("td", { colspan: 4, class: "quiet" }, "no verdict")];

/** @param {import("./api.js").YieldOf} q */
function ppk(q) {
        if (q.ppk !== null)
                return `${q.ppk.toFixed(2)} (${(q.ppk_interval[0] ?? 0).toFixed(2)} to ${(q.ppk_interval[1] ?? 0).toFixed(2)})${q.measuring_known ? "" : " *"}`.replaceAll("-", "−");
        return q.hidden_by_measuring ? "hidden by measuring" : "";
}

/** What is in no share. @param {Shares} y */
const beside = (y) => [[y.suspect, "of them suspect"], [y.no_verdict, "without a verdict"], [y.no_contact, "without contact"], [y.not_measured, "not measured"]].filter(([n]) => n).map(([n, words]) => `${n} ${words}`).join(", ");

/** @param {HTMLElement} box @param {Yield|null} y */
export function drawYield(box, y) {
        const look = JSON.stringify(y);
        if (box.dataset.look === look)
                return;
        box.dataset.look = look;
        if (!y || !y.quantities.length) {
                box.replaceChildren(h("p", { class: "quiet" }, "Nothing is asked of this wafer yet."));
                return;
        }
        const several = new Set(y.quantities.map((q) => q.device)).size > 1;
        const starred = y.quantities.some((q) => q.ppk !== null && !q.measuring_known);
        box.replaceChildren(
                h("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "The yield, a table" }, h("table", {}, h("caption", { class: "unseen" }, "Yield, and how the values lie to their limits"),
                        h("thead", {}, h("tr", {}, ...["Of", "Good", "Yield", "With 95 % between", "At the first touch", "Median", "Half of them between", "Scatter", "Ppk with its 95 %", "Far off"].map((t) => h("th", { scope: "col" }, t)))),
                        h("tbody", {}, h("tr", {}, h("th", { scope: "row" }, "dies"), ...shares(y.dies), h("td", { colspan: 5 })),
                                ...y.quantities.map((q) => h("tr", {}, h("th", { scope: "row" }, `${several ? `${q.device} ` : ""}${q.label.replaceAll("_", " at ")}`),
                                        ...(q.low === null && q.high === null ? [h("td", { colspan: 4, class: "quiet" }, "no limit")] : shares(q)),
                                        ...(q.values ? [number(quantity(q.median, q.unit)), number(q.values > 1 ? `${quantity(q.quartiles[0], q.unit)} to ${quantity(q.quartiles[1], q.unit)}` : null, true),
                                                number(q.s_robust === null ? null : quantity(q.s_robust, q.unit, 2), true), number(ppk(q)), h("td", { class: "quiet" }, names(q.outliers))] : [h("td", { colspan: 5, class: "quiet" }, "no value")])))))),
                h("p", { class: "quiet" }, `Of this wafer alone: its dies are not independent, so the truth may lie further out. ${count(y.dies.n, "die has", "dies have")} a verdict${beside(y.dies) ? `; ${beside(y.dies)}` : ""}. Marginal is not good.`),
                ...(starred ? y.notes.map((note) => h("p", { class: "quiet" }, `* ${note}`)) : []));
}
