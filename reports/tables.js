// Tables of a page: sorted by a heading, searched, chosen by confidence and by the jobs of a part; long ones in parts.
"use strict";
(() => {
  const WHOLE = { atOnce: Infinity, few: 8 }, IN_PARTS = { atOnce: 200, few: 0 };
  const LONG = 120, FIRST = 90;  // letters of a text that is folded, and of what is seen of it
  const LEVELS = ["amended", "confirmed", "high", "medium", "low", "none"];
  const count = (number) => number.toLocaleString("en");
  const make = (tag, values = {}, ...inside) => {
    const made = Object.assign(document.createElement(tag), values);
    made.append(...inside);
    return made;
  };
  // A number as it is written: 1,234.5; what is no number sorts as a text, and what is missing comes last.
  const valueOf = (text, isNumber) => {
    if (text === "" || text === "–") return null;
    const number = isNumber ? Number.parseFloat(text.replaceAll(",", "").replace("−", "-")) : Number.NaN;
    return Number.isNaN(number) ? text : number;
  };
  const order = (a, b) => (typeof a === "number" && typeof b === "number" ? a - b
    : String(a).localeCompare(String(b), "en", { numeric: true }));

  // A text is folded between two words.
  const cut = (text) => Math.max(text.lastIndexOf(" ", FIRST), 0) || FIRST;
  const fold = (cell) => {
    const text = cell.textContent;
    if (text.length > LONG && !cell.querySelector("a")) {
      cell.replaceChildren(make("details", { className: "cell" }, make("summary", { textContent: text.slice(0, cut(text)) }), text.slice(cut(text))));
    }
    return cell;
  };
  // Rows of the page itself are moved; rows that came packed are built when they are shown.
  const ofPage = (body) => [...body.rows].map((row) => {
    const texts = [...row.cells].map((cell) => cell.textContent);
    [...row.cells].forEach(fold);
    return { texts, row: () => row };
  });
  const ofPack = async (packed) => {
    const bytes = Uint8Array.from(atob(packed), (letter) => letter.charCodeAt(0));
    const { numbers, rows } = JSON.parse(await new Response(new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"))).text());
    const cellOf = (cell, index) => {
      const inside = Array.isArray(cell) ? make("a", { href: cell[1], textContent: cell[0] }) : cell;
      return fold(make("td", { className: numbers[index] ? "n" : "" }, inside));
    };
    return rows.map((row) => ({
      texts: row.map((cell) => (Array.isArray(cell) ? cell[0] : cell)), row: () => make("tr", {}, ...row.map(cellOf)),
    }));
  };

  const enhance = (table, rows, { atOnce, few }) => {
    const heads = [...table.tHead.rows[0].cells], body = table.tBodies[0], held = table.closest(".scroll");
    const names = heads.map((head) => head.dataset.column || "");
    const sorted = { by: -1, down: false }, chosen = new Map();
    let jobs = {}, from = 0;
    const told = make("span", { role: "status" });
    const search = make("input", { type: "search" });
    const [earlier, later] = ["Earlier rows", "Later rows"].map((text) => make("button", { type: "button", textContent: text }));
    const form = make("form", { className: "choices turn", ariaLabel: `Rows of ${held.getAttribute("aria-label")}` });
    form.append(make("label", {}, "rows that contain ", search));
    names.forEach((name, place) => {
      if (!name.endsWith("confidence")) return;
      const values = [...new Set(rows.map((row) => row.texts[place]))].filter((text) => text !== "–").sort((a, b) => LEVELS.indexOf(a) - LEVELS.indexOf(b));
      if (values.length < 2) return;
      const select = make("select", {}, make("option", { value: "", textContent: "all" }), ...values.map((text) => make("option", { textContent: text })));
      select.addEventListener("change", () => { chosen.set(place, select.value); from = 0; show(); });
      form.append(make("label", {}, `${heads[place].textContent} `, select));
    });
    if (rows.length > atOnce) form.append(earlier, later);
    form.append(told);

    const show = () => {
      const wanted = search.value.trim().toLowerCase();
      const found = rows.filter(({ texts }) => (!wanted || texts.some((text) => text.toLowerCase().includes(wanted)))
        && [...chosen].every(([place, value]) => !value || texts[place] === value)
        && Object.entries(jobs).every(([name, value]) => texts[names.indexOf(name)] === value));
      if (sorted.by >= 0) {
        const isNumber = heads[sorted.by].classList.contains("n"), key = (row) => valueOf(row.texts[sorted.by], isNumber);
        found.sort((one, other) => {
          const a = key(one), b = key(other);
          if (a === null || b === null) return (a === null) - (b === null);
          return sorted.down ? order(b, a) : order(a, b);
        });
      }
      const part = found.slice(from, from + atOnce);
      body.replaceChildren(...part.map((row) => row.row()));
      told.textContent = !found.length ? "No matching rows"
        : part.length < found.length ? `Rows ${count(from + 1)} to ${count(from + part.length)} of ${count(found.length)}`
          : found.length < rows.length ? `${count(found.length)} of ${count(rows.length)} rows` : `${count(rows.length)} rows`;
      earlier.disabled = from === 0;
      later.disabled = from + atOnce >= found.length;
      return { shown: part.length, found: found.length };
    };
    heads.forEach((head, place) => {
      const button = make("button", { type: "button", className: "sort" }, ...head.childNodes);
      button.addEventListener("click", () => {
        sorted.down = sorted.by === place && !sorted.down;
        sorted.by = place;
        from = 0;
        for (const other of heads) other.removeAttribute("aria-sort");
        head.setAttribute("aria-sort", sorted.down ? "descending" : "ascending");
        show();
      });
      head.replaceChildren(button);
    });
    earlier.addEventListener("click", () => { from = Math.max(0, from - atOnce); show(); });
    later.addEventListener("click", () => { from += atOnce; show(); });
    search.addEventListener("input", () => { from = 0; show(); });
    form.addEventListener("submit", (event) => event.preventDefault());
    if (rows.length >= few) held.before(form);
    // Only the rows of some jobs; returns which of the names the table does not have.
    table.choose = (wanted) => {
      jobs = Object.fromEntries(Object.entries(wanted).filter(([name]) => names.includes(name)));
      from = 0;
      return { ...show(), unknown: Object.keys(wanted).filter((name) => !names.includes(name)) };
    };
    return show();
  };

  const packed = document.getElementById("rows");
  if (packed) {
    ofPack(packed.textContent).then((rows) => { window.heelward = enhance(document.querySelector("main table"), rows, IN_PARTS); });
    return;
  }
  for (const table of document.querySelectorAll("table.rows")) enhance(table, ofPage(table.tBodies[0]), WHOLE);
})();
