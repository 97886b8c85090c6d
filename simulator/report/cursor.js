"use strict";
// A line under the pointer through all rows of a figure, with the values it crosses.
// Without this script nothing is missing but that line.
for (const figure of document.querySelectorAll("figure.night")) {
  const from = Number(figure.dataset.from);
  const to = Number(figure.dataset.to);
  const clock = Number(figure.dataset.clock);
  const rows = [...figure.querySelectorAll(".row")].map((row) => ({
    plot: row.querySelector("svg.plot"),
    read: row.querySelector(".read"),
    times: row.classList.contains("times"),
    curves: [...row.querySelectorAll("path[data-name]")],
  }));
  const points = new Map();
  let share = null;

  function valueAt(path, at) {
    if (!points.has(path)) {
      const pairs = path.getAttribute("d").split(/[ML]/).slice(1);
      points.set(path, pairs.map((pair) => pair.split(" ").map(Number)));
    }
    const found = points.get(path);
    const x = at * 1000;
    const after = found.findIndex((point) => point[0] >= x);
    if (after < 0) return null;
    const [x1, y1] = found[after];
    const [x0, y0] = found[Math.max(0, after - 1)];
    const y = x1 > x0 ? y0 + ((x - x0) / (x1 - x0)) * (y1 - y0) : y1;
    return Number(path.dataset.zero) + Number(path.dataset.px) * y;
  }

  function time(at) {
    const seconds = from + at * (to - from);
    const day = Math.floor(seconds + clock) % 86400;
    const two = (number) => String(number).padStart(2, "0");
    const shown = [day / 3600, (day % 3600) / 60, day % 60].map((n) => two(Math.floor(n)));
    return shown.join(":");
  }

  function show(at) {
    share = at;
    for (const row of rows) {
      row.plot.querySelector(".cursor")?.remove();
      row.read.textContent = "";
      if (at === null) continue;
      const line = document.createElementNS(row.plot.namespaceURI, "line");
      for (const end of ["x1", "x2"]) line.setAttribute(end, `${at * 100}%`);
      line.setAttribute("y1", "0");
      line.setAttribute("y2", row.plot.getAttribute("height"));
      line.setAttribute("class", "cursor");
      row.plot.append(line);
      const said = row.times ? [time(at)] : [];
      for (const path of row.curves) {
        const value = valueAt(path, at);
        if (value === null) continue;
        const digits = Math.abs(value) < 10 ? 2 : Math.abs(value) < 1000 ? 1 : 0;
        said.unshift(`${path.dataset.name} ${value.toFixed(digits)} ${path.dataset.unit}`);
      }
      row.read.textContent = said.join(" · ");
    }
  }

  figure.addEventListener("pointermove", (event) => {
    const box = rows[0].plot.getBoundingClientRect();
    const at = (event.clientX - box.left) / box.width;
    show(at >= 0 && at <= 1 ? at : null);
  });
  figure.addEventListener("pointerleave", () => show(null));
  figure.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: -0.01, ArrowRight: 0.01 }[event.key];
    if (event.key === "Escape") show(null);
    if (step === undefined) return;
    event.preventDefault();
    show(Math.min(1, Math.max(0, (share ?? 0.5) + step)));
  });
}
