// Keys in the rows of the queue, heard only while a row has the focus; all that they do can be done without them.
"use strict";

const table = document.querySelector("table.queue");

function moved(key, at, rows) {
  const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: rows.length - 1 }[key];
  return to === undefined ? null : rows[Math.min(Math.max(to, 0), rows.length - 1)];
}

if (table) {
  const rows = [...table.tBodies[0].rows].filter((row) => row.querySelector(".who a"));
  const agree = document.querySelector(".agree button");
  document.querySelector(".keys").hidden = false;
  table.addEventListener("keydown", (event) => {
    if (event.altKey || event.metaKey) return;
    const row = event.target.closest("tbody tr");
    const next = event.ctrlKey ? null : moved(event.key, rows.indexOf(row), rows);
    const box = row && row.querySelector(".tick input");
    if (next) next.querySelector(".who a").focus();
    else if (event.ctrlKey && event.key === "Enter" && agree) agree.form.requestSubmit(agree);
    else if (!event.ctrlKey && event.key === " " && box && event.target !== box) box.click();
    else return;
    event.preventDefault();
  });
}
