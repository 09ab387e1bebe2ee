// Pages say everything without this: it filters tables, marks what a record touches, and opens what is folded before printing.
"use strict";
(() => {
  const fold = (text) => text.toLowerCase();
  for (const form of document.querySelectorAll("form.filters")) {
    const table = document.getElementById(form.dataset.table);
    if (!table) continue;
    const said = form.querySelector("output");
    const rows = Array.from(table.tBodies).flatMap((body) => Array.from(body.rows));
    // Verdicts are a list of words; all else is one value, which may have blanks in it.
    const has = (own, name, value) => name === "verdicts" ? own.split(" ").includes(value) : own === value;
    const apply = () => {
      const words = fold(form.elements.words ? form.elements.words.value : "").split(/\s+/).filter(Boolean);
      const picks = Array.from(form.querySelectorAll("select")).filter((one) => one.value);
      let shown = 0;
      for (const row of rows) {
        const text = fold(row.textContent);
        const fits = words.every((word) => text.includes(word)) &&
          picks.every((one) => has(row.dataset[one.name] || "", one.name, one.value));
        row.hidden = !fits;
        shown += fits ? 1 : 0;
      }
      if (said) said.textContent = shown + " of " + rows.length + " rows";
    };
    form.hidden = false;
    form.addEventListener("input", apply);
    form.addEventListener("submit", (event) => event.preventDefault());
    apply();
  }
  // What a record touches: everything that it is made of, and everything that is made of it.
  for (const drawing of document.querySelectorAll("svg.touch")) {
    const nodes = new Map(Array.from(drawing.querySelectorAll("[data-node]"), (one) => [one.dataset.node, one]));
    const edges = Array.from(drawing.querySelectorAll("[data-from]"));
    const said = document.getElementById("touched");
    const mark = (name) => {
      const found = new Set([name]);
      const lines = new Set();
      for (const [here, there] of [["from", "to"], ["to", "from"]]) {
        const queue = [name];
        const seen = new Set(queue);
        while (queue.length) {
          const at = queue.pop();
          for (const edge of edges) {
            if (edge.dataset[here] !== at) continue;
            lines.add(edge);
            const next = edge.dataset[there];
            if (!seen.has(next)) { seen.add(next); found.add(next); queue.push(next); }
          }
        }
      }
      drawing.classList.add("marking");
      for (const [id, node] of nodes) node.classList.toggle("on", found.has(id));
      for (const edge of edges) edge.classList.toggle("on", lines.has(edge));
      if (said) said.textContent = name + " touches " + (found.size - 1) + " other records.";
    };
    const clear = () => {
      drawing.classList.remove("marking");
      for (const one of drawing.querySelectorAll(".on")) one.classList.remove("on");
    };
    for (const [name, node] of nodes) {
      node.addEventListener("mouseenter", () => mark(name));
      node.addEventListener("focus", () => mark(name));
      node.addEventListener("mouseleave", clear);
      node.addEventListener("blur", clear);
    }
  }
  window.addEventListener("beforeprint", () => {
    for (const one of document.querySelectorAll("details:not(.behind, .long)")) one.open = true;
  });
})();
