"use strict";
(() => {
  const root = document.documentElement;
  const all = (selector) => [...document.querySelectorAll(selector)];
  const byId = (id) => document.getElementById(id);

  // colours: as the device shows them, unless told; the address keeps the choice, as in night.html#red
  const themes = document.querySelector(".themes");
  const radios = [...themes.querySelectorAll("input")];
  const show = (theme) => {
    if (theme) root.dataset.theme = theme;
    else delete root.dataset.theme;
    for (const radio of radios) radio.checked = radio.value === theme;
  };
  themes.hidden = false;
  themes.addEventListener("change", (event) => show(event.target.value));
  const asked = location.hash.slice(1);
  if (asked && radios.some((radio) => radio.value === asked)) show(asked);

  // sliders: read between the rows of a table; t in seconds, m and m95 in pixels, null beyond any measure
  const form = document.querySelector(".sliders");
  if (!form) return;
  const curves = JSON.parse(byId("curves").textContent);
  const digits = (value) => (value >= 100 ? value.toFixed(0) : String(Number(value.toPrecision(value < 1 ? 2 : 3))));
  const length = (seconds) =>
    seconds < 99.5 ? `${digits(seconds)} s` : seconds < 5970 ? `${digits(seconds / 60)} min` : `${digits(seconds / 3600)} h`;
  // between two rows as a power of the length, before the first one straight from nothing
  const between = (x0, y0, x1, y1, x) => {
    if (!(x0 > 0) || !(y0 > 0)) return y0 + ((y1 - y0) * (x - x0)) / (x1 - x0);
    return y0 * (y1 / y0) ** (Math.log(x / x0) / Math.log(x1 / x0));
  };
  const longest = (curve, sizes, tolerance) => {
    if (!sizes) return "unknown";
    const full = sizes.map((size) => (size === null ? Infinity : size));
    const i = full.findIndex((size) => size >= tolerance);
    if (i < 0) return `no limit (${length(curve.t[curve.t.length - 1])} left)`;
    const [t0, m0] = i > 0 ? [curve.t[i - 1], full[i - 1]] : [0, 0];
    return length(full[i] === Infinity ? t0 : between(m0, t0, full[i], curve.t[i], tolerance));
  };
  const motion = (curve, seconds) => {
    if (seconds > curve.t[curve.t.length - 1]) return "the target sets before";
    const i = curve.t.findIndex((value) => value >= seconds);
    if (curve.m[i] === null) return "beyond measure";
    const [t0, m0] = i > 0 ? [curve.t[i - 1], curve.m[i - 1]] : [0, 0];
    return `${digits(between(t0, m0, curve.t[i], curve.m[i], seconds))} px`;
  };
  const tolerance = byId("tolerance");
  const exposure = byId("exposure");
  // at one pixel stands what was found without the table
  const found = new Map(all(".limits [data-kind]").map((cell) => [cell, cell.textContent]));
  const update = () => {
    const pixels = curves.tolerances[tolerance.value];
    const seconds = curves.exposures[exposure.value];
    const said = { tolerance: `${digits(pixels)} px`, exposure: length(seconds) };
    byId("tolerance-said").textContent = `${said.tolerance} = ${digits(pixels * curves.scale)}″`;
    byId("exposure-said").textContent = said.exposure;
    tolerance.setAttribute("aria-valuetext", `${digits(pixels)} pixels`);
    exposure.setAttribute("aria-valuetext", said.exposure);
    for (const place of all("[data-said]")) place.textContent = said[place.dataset.said];
    for (const cell of all(".limits [data-kind]")) {
      const curve = curves.targets[cell.closest("table").dataset.target][cell.dataset.kind];
      if (!curve) continue;
      if (cell.dataset.what === "motion") cell.textContent = motion(curve, seconds);
      else if (pixels === 1) cell.textContent = found.get(cell);
      else cell.textContent = longest(curve, cell.dataset.what === "sure" ? curve.m95 : curve.m, pixels);
    }
    for (const line of all("[id^='tolerance-'][d]")) {
      const sheet = line.ownerSVGElement.dataset;
      const share = Math.log(pixels / sheet.low) / Math.log(sheet.high / sheet.low);
      const y = Number(sheet.bottom) - share * (sheet.bottom - sheet.top);
      line.setAttribute("d", line.getAttribute("d").replace(/ [\d.]+(?=L|$)/g, ` ${y.toFixed(2)}`));
    }
  };
  form.hidden = false;
  form.addEventListener("input", update);
  form.addEventListener("submit", (event) => event.preventDefault());
  update();
})();
