// A long table, displayed in parts: the page contains the rows in compressed form.
"use strict";
(async () => {
  const AT_ONCE = 200;
  const packed = Uint8Array.from(atob(document.getElementById("rows").textContent), (letter) => letter.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
  const { numbers, rows } = JSON.parse(await new Response(stream).text());
  const body = document.querySelector("tbody"), told = document.getElementById("told");
  const asked = document.getElementById("asked"), [earlier, later] = document.querySelectorAll(".turn button");
  const textOf = (cell) => (Array.isArray(cell) ? cell[0] : cell);
  let found = rows, from = 0;

  const cellOf = (cell, index) => {
    const made = document.createElement("td");
    if (numbers[index]) made.className = "n";
    if (Array.isArray(cell)) {
      const link = document.createElement("a");
      link.href = cell[1];
      link.textContent = cell[0];
      made.append(link);
    } else made.textContent = cell;
    return made;
  };
  const show = () => {
    const part = found.slice(from, from + AT_ONCE);
    body.replaceChildren(...part.map((row) => {
      const made = document.createElement("tr");
      made.append(...row.map(cellOf));
      return made;
    }));
    const count = (number) => number.toLocaleString("en");
    told.textContent = found.length ? `Rows ${count(from + 1)} to ${count(from + part.length)} of ${count(found.length)}` : "No matching rows";
    earlier.disabled = from === 0;
    later.disabled = from + AT_ONCE >= found.length;
    window.heelward = { shown: part.length, found: found.length };
  };
  earlier.addEventListener("click", () => { from = Math.max(0, from - AT_ONCE); show(); });
  later.addEventListener("click", () => { from += AT_ONCE; show(); });
  asked.addEventListener("input", () => {
    const wanted = asked.value.trim().toLowerCase();
    found = wanted ? rows.filter((row) => row.some((cell) => textOf(cell).toLowerCase().includes(wanted))) : rows;
    from = 0;
    show();
  });
  show();
})();
