// Draws the charts, lets a reader select jobs, and opens the target of a link. The page makes no network requests.
"use strict";
(() => {
  const { charts, data: packed } = JSON.parse(document.getElementById("charts").textContent);
  // Rows come as a table whose names are said once.
  const data = packed.map((one) => (Array.isArray(one) ? one
    : one.rows.map((row) => Object.fromEntries(one.names.map((name, place) => [name, row[place]])))));
  const views = {}, kept = {};
  // Vega modifies the rows it is given: the original rows are kept separately, and copies are passed on.
  for (const [id, one] of Object.entries(charts)) {
    kept[id] = Object.fromEntries(Object.entries(one.datasets).map(([name, place]) => [name, data[place]]));
    one.spec.datasets = structuredClone(kept[id]);
  }
  window.heelward = { drawn: 0, failed: 0, wanted: Object.keys(charts).length, views };

  // Errors only: a chart without values, because of the data or the selection, needs no warning.
  // A tooltip leaves out what is unknown.
  const formatTooltip = (value, inert) => (typeof value !== "object" ? inert(value)
    : `<table>${Object.entries(value).filter(([, one]) => one !== "null").map(([name, one]) => `<tr><td class="key">${inert(name)}</td><td class="value">${inert(one)}</td></tr>`).join("")}</table>`);
  const options = { actions: false, renderer: "svg", logLevel: 1, tooltip: { formatTooltip } };
  // A point or a cell of a stage leads to its page.
  const lead = (_event, item) => {
    const { well_id: well, stage } = (item && item.datum) || {};
    if (well !== undefined && Number.isInteger(stage)) location.href = `${document.body.dataset.records}/${encodeURIComponent(well)}/${stage}.${document.body.dataset.kind}`;
  };
  const draw = (id) => vegaEmbed(document.getElementById(id), charts[id].spec, options)
    .then((made) => { views[id] = made.view; made.view.addEventListener("click", lead); window.heelward.drawn += 1; })
    .catch((error) => { window.heelward.failed += 1; console.error(id, error); });
  const started = Promise.all(Object.keys(charts).map(draw));

  const named = (name, value) => (value.toLowerCase().startsWith(name) ? value : `${name} ${value}`);
  const words = (chosen) => Object.entries(chosen).map(([name, value]) => named(name, value)).join(", ");

  const pick = (id, chosen) => {
    const chart = charts[id], view = views[id], note = document.getElementById(`${id}-picked`);
    if (!view) return;
    const known = Object.entries(chosen).filter(([name]) => chart.choices.includes(name));
    const unknown = Object.keys(chosen).filter((name) => !chart.choices.includes(name));
    const fits = (row) => known.every(([name, value]) => String(row[name]) === value);
    const { cells, rows } = kept[id], kind = cells ? "cells" : "rows", found = kept[id][kind].filter(fits);
    view.data(kind, structuredClone(found));
    if (cells) view.signal("picked", known.length > 0);
    view.run();
    const parts = known.length && !found.length ? ["No such jobs."] : [];
    view.container().closest("figure").classList.toggle("apart", known.length === 0 && unknown.length > 0);
    if (known.length) {
      const shown = words(Object.fromEntries(known));
      parts.push(cells ? `Squares: ${shown}; circles and limits: all.` : `Shown: ${shown}.`);
      parts.push("The title refers to all jobs.");
    }
    if (unknown.length) parts.push(`Cannot be selected by ${unknown.join(" and ")}: all are shown.`);
    note.textContent = parts.join(" ");
    note.hidden = parts.length === 0;
  };

  // Tables follow where they have the column; a table that cannot, and the numbers, are greyed with the reason.
  const pickTables = (section, chosen) => {
    for (const table of section.querySelectorAll("table.rows")) {
      const { unknown } = table.choose(chosen);
      const note = table.closest(".scroll").nextElementSibling;
      table.classList.toggle("apart", unknown.length > 0);
      note.textContent = unknown.length ? `Cannot be selected by ${unknown.join(" and ")}: all are shown.` : "";
      note.hidden = !unknown.length;
    }
    for (const note of section.querySelectorAll(".numbers-picked")) note.hidden = !Object.keys(chosen).length;
    for (const numbers of section.querySelectorAll(".numbers")) numbers.classList.toggle("apart", Object.keys(chosen).length > 0);
  };

  // A cell that a spreadsheet could read as a formula gets a quote before it.
  const cell = (value) => {
    if (value === null || value === undefined) return "";
    if (typeof value !== "string") return String(value);
    const inert = /^[=+\-@\t\r]/.test(value) ? `'${value}` : value;
    return /[",\n\r]/.test(inert) ? `"${inert.replaceAll('"', '""')}"` : inert;
  };

  const save = (id) => {
    const { labels, query, sampled } = charts[id], columns = Object.keys(labels);
    const rows = views[id] && !kept[id].cells ? views[id].data("rows") : kept[id].rows;
    const lines = [columns.map((name) => cell(labels[name])), ...rows.map((row) => columns.map((name) => cell(row[name])))];
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob(["\ufeff", lines.map((line) => line.join(",")).join("\r\n")], { type: "text/csv" }));
    link.download = `${query}${sampled ? "_sample" : ""}.csv`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  };

  for (const button of document.querySelectorAll("button.save")) {
    button.addEventListener("click", () => save(button.dataset.chart));
    button.hidden = false;
  }

  // The choice of each part stands in the address and survives a reload: ?part.crew=...&part.pad=...
  const remembered = new URLSearchParams(location.search);

  for (const form of document.querySelectorAll("form.choices")) {
    const part = form.closest("section").id;
    for (const select of form.querySelectorAll("select")) {
      const value = remembered.get(`${part}.${select.name}`);
      if (value !== null && [...select.options].some((one) => one.value === value)) select.value = value;
    }
    const change = () => {
      const chosen = {};
      for (const [name, value] of new FormData(form)) if (value) chosen[name] = value;
      for (const select of form.querySelectorAll("select")) {
        if (select.value) remembered.set(`${part}.${select.name}`, select.value);
        else remembered.delete(`${part}.${select.name}`);
      }
      const asked = remembered.toString();
      try { history.replaceState(null, "", `${location.pathname}${asked ? `?${asked}` : ""}${location.hash}`); } catch { /* a page in a mail has no address */ }
      form.closest("section").classList.toggle("picking", Object.keys(chosen).length > 0);
      for (const chart of form.closest("section").querySelectorAll(".chart")) pick(chart.id, chosen);
      pickTables(form.closest("section"), chosen);
    };
    form.addEventListener("change", change);
    form.addEventListener("reset", () => setTimeout(change));
    form.addEventListener("submit", (event) => event.preventDefault());
    form.hidden = false;
    if ([...form.querySelectorAll("select")].some((select) => select.value)) started.then(change);
  }

  const open = () => {
    const target = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (!target) return;
    for (let at = target; at; at = at.parentElement) if (at.tagName === "DETAILS") at.open = true;
    target.scrollIntoView();
  };
  addEventListener("hashchange", open);
  open();
  addEventListener("beforeprint", () => document.querySelectorAll("#ledger details").forEach((one) => { one.open = false; }));
})();
