"use strict";
// The sliders, the pictures and the questions of the page; the numbers come from pourBatch.
(() => {
  const made = JSON.parse(document.getElementById("made").textContent);
  const form = document.getElementById("settings"), results = document.getElementById("results");
  const sliders = [...form.querySelectorAll("input[type=range]")];
  const order = document.getElementById("order"), look = document.getElementById("look-at");
  const questions = document.getElementById("questions"), said = document.getElementById("said"), live = document.getElementById("live");
  let shown = false, right = 0, asked = 0;

  const settings = () => Object.fromEntries(sliders.map((one) => [one.id, Number(one.value)]));
  const signed = (value) => (value > 0 ? "+" : value < 0 ? "\u2212" : "") + Math.abs(value).toFixed(0);
  const words = {
    stir_every: (value) => value === 0 ? "never" : value === 1 ? "before each unit" : `before every ${value} units`,
    displacement_error: (value) => `${signed(value)} %: ${(made.displacement * (1 + value / 100)).toFixed(2)} in place of ${made.displacement}`,
  };
  const inWords = (one) => (words[one.id] || ((value) => `${value} ${one.dataset.unit}`))(Number(one.value));

  // Blue below, white at the mean, orange above: told apart by every common colour blindness; the number stands beside it.
  function colour(percent, reach) {
    const share = Math.max(-1, Math.min(1, percent / reach)), end = share < 0 ? [31, 95, 168] : [176, 64, 10];
    return `rgb(${end.map((part) => Math.round(255 + (part - 255) * Math.abs(share))).join(",")})`;
  }
  const ink = (percent, reach) => Math.abs(percent / reach) > 0.6 ? "#fff" : "#1a1a1a";

  function placed(unit) {
    const across = made.cavities, down = made.moulds, round = made.units / (across * down);
    const at = unit % (across * down), half = Math.floor(unit / (across * down));
    let row = Math.floor(at / across), column = at % across;
    if (order.value === "columns") { column = Math.floor(at / down); row = at % down; }
    if (order.value === "there-and-back" && row % 2) column = across - 1 - column;
    return { row: row + half * down, column, round };
  }

  function tray(batch) {
    const rows = made.moulds * Math.ceil(made.units / (made.cavities * made.moulds));
    const circles = batch.units.map((one, unit) => {
      const { row, column } = placed(unit), off = 100 * (one.content / made.label_mg - 1);
      const x = 40 + column * 62, y = 34 + row * 62;
      return `<g><title>Unit ${unit + 1}: ${signed(off)} % of label</title><circle cx="${x}" cy="${y}" r="27" fill="${colour(off, 40)}" stroke="#1a1a1a"/>` +
        `<text x="${x}" y="${y - 3}" text-anchor="middle" font-size="15" fill="${ink(off, 40)}">${unit + 1}</text>` +
        `<text x="${x}" y="${y + 14}" text-anchor="middle" font-size="14" fill="${ink(off, 40)}">${signed(off)} %</text></g>`;
    });
    draw("tray", 20 + made.cavities * 62, 10 + rows * 62, circles.join(""),
      `The tray: content of each of ${made.units} units against the label, from ${range(batch.units.map((one) => 100 * (one.content / made.label_mg - 1)))} %`);
  }

  const range = (values) => `${signed(Math.min(...values))} to ${signed(Math.max(...values))}`;

  function curve(id, what, truth, found, reach, unit) {
    const x = (at) => 46 + at * 340 / (made.units - 1), y = (value) => 100 - Math.max(-reach, Math.min(reach, value)) * 84 / reach;
    let marks = `<line x1="40" x2="392" y1="100" y2="100" stroke="#595959"/>`;
    for (const level of [-reach, -reach / 2, 0, reach / 2, reach]) {
      marks += `<text x="36" y="${y(level) + 5}" text-anchor="end" font-size="13">${signed(level)}</text>`;
    }
    marks += `<polyline fill="none" stroke="#595959" points="${truth.map((one, at) => `${x(at)},${y(one)}`).join(" ")}"/>`;
    truth.forEach((one, at) => { marks += `<circle cx="${x(at)}" cy="${y(one)}" r="4" fill="#fff" stroke="#595959"/>`; });
    for (const [at, one] of found) marks += `<circle cx="${x(at)}" cy="${y(one)}" r="5" fill="#1f5fa8"/>`;
    marks += `<text x="46" y="205" font-size="13">unit 1</text><text x="390" y="205" font-size="13" text-anchor="end">unit ${made.units}</text>`;
    draw(id, 400, 212, marks, `${what} in pour order, ${unit}: first ${signed(truth[0])}, last ${signed(truth[truth.length - 1])}, from ${range(truth)}`);
  }

  function dish(batch) {
    const unit = Number(look.value) - 1, layers = batch.dish[unit], total = batch.dish[0].length, high = 210 / total;
    const cleared = (total - layers.length) * high;
    let marks = `<rect x="10" y="8" width="150" height="214" fill="none" stroke="#1a1a1a"/>`;
    layers.forEach((one, at) => {
      const grey = Math.round(255 - Math.max(0, Math.min(1, one / 2)) * 205);
      marks += `<rect x="11" y="${10 + cleared + at * high}" width="148" height="${high + 0.4}" fill="rgb(${grey},${grey},${grey})"/>`;
    });
    const deep = Math.min(40, 210 * batch.deposit[unit]);
    marks += `<rect x="11" y="${221 - deep}" width="148" height="${deep}" fill="#1a1a1a"/>`;
    const top = layers[0], bottom = layers[layers.length - 1];
    marks += `<text x="172" y="${22 + cleared}" font-size="15">top: ${(100 * top).toFixed(0)} %</text><text x="172" y="${Math.max(38 + cleared, 190)}" font-size="15">bottom: ${(100 * bottom).toFixed(0)} %</text><text x="172" y="218" font-size="15">on the floor: ${(100 * batch.deposit[unit]).toFixed(0)} %</text>`;
    draw("dish", 320, 230, marks, `The dish before unit ${unit + 1} is poured: the top holds ${(100 * top).toFixed(0)} % of an even melt, the bottom ${(100 * bottom).toFixed(0)} %; ${(100 * batch.deposit[unit]).toFixed(0)} % of the active lies on the floor`);
    document.getElementById("look-at-words").textContent = `before unit ${unit + 1}`;
  }

  function draw(id, wide, high, inside, label) {
    const svg = document.getElementById(id);
    svg.setAttribute("viewBox", `0 0 ${wide} ${high}`);
    svg.setAttribute("aria-label", label);
    svg.innerHTML = inside;
    document.getElementById(`${id}-words`).textContent = `${label}.`;
  }

  function verdicts(batch) {
    const { mass, content, dosage } = batch.tests, limits = made.limits;
    const lines = [
      ["Uniformity of mass", mass.verdict, `RSD ${mass.rsd.toFixed(2)} %; ${mass.inner} beyond ${limits.band.limit_percent} %, ${limits.mass.most_beyond_limit} may; ${mass.outer} beyond ${limits.band.outer_percent} %`],
      ["Mean mass against plan", "for information", `${mass.mean.toFixed(3)} g, planned ${batch.planned.toFixed(3)} g`],
      ["Uniformity of content", content.verdict, content.mean === undefined ? `${batch.assayed.length} of ${limits.content.first_size} assays` : `${content.inner} beyond ${limits.content.inner_percent} % of the mean, ${limits.content.passes_with} may; ${content.outer} beyond ${limits.content.outer_percent} %`],
      ["Uniformity of dosage units", dosage.verdict, dosage.value === undefined ? `${batch.assayed.length} of ${limits.content.first_size} assays` : `acceptance value ${dosage.value.toFixed(1)}, at most ${limits.dosage.l1_percent}; mean ${dosage.mean.toFixed(1)} % of label, SD ${dosage.sd.toFixed(1)} %`],
      ["Active left in the dish", "for information", `${(100 * batch.left).toFixed(1)} % of what was weighed`],
    ];
    document.getElementById("verdicts").innerHTML = lines.map(([test, verdict, figures]) =>
      `<tr><th scope="row">${test}</th><td><strong>${verdict}</strong></td><td>${figures}</td></tr>`).join("");
    document.getElementById("every-unit").innerHTML = batch.units.map((one, unit) =>
      `<tr><th scope="row">${unit + 1}</th><td>${batch.masses[unit].toFixed(3)}</td><td>${one.content.toFixed(1)}</td><td>${unit in batch.found ? batch.found[unit].toFixed(1) : "\u2013"}</td></tr>`).join("");
  }

  const change = (batch) => 100 * (mean(batch.relative.slice(-3)) / mean(batch.relative.slice(0, 3)) - 1);

  function show() {
    for (const one of sliders) {
      document.getElementById(`${one.id}-words`).textContent = inWords(one);
      one.setAttribute("aria-valuetext", inWords(one));
    }
    results.hidden = !shown;
    questions.hidden = shown;
    if (!shown) return;
    const batch = pourBatch(made, settings());
    tray(batch);
    dish(batch);
    const percent = (value) => 100 * (value / made.label_mg - 1), plan = (value) => 100 * (value / batch.planned - 1);
    curve("contents", "Contents", batch.units.map((one) => percent(one.content)), batch.assayed.map((unit) => [unit, percent(batch.found[unit])]), 60, "% from label");
    curve("masses", "Masses", batch.units.map((one) => plan(one.mass)), [], 12, "% from plan");
    verdicts(batch);
    live.textContent = `Last units against first: ${signed(change(batch))} %. Mass ${batch.tests.mass.verdict}, content ${batch.tests.content.verdict}, dosage units ${batch.tests.dosage.verdict}.`;
    return batch;
  }

  function answer() {
    const guess = (name) => (questions.querySelector(`input[name=${name}]:checked`) || {}).value;
    const [last, passes] = [guess("last"), guess("passes")];
    if (!last || !passes) {
      said.textContent = "Answer both questions first: a prediction that nobody wrote down teaches nothing.";
      return;
    }
    shown = true;
    const batch = show(), rise = change(batch);
    const truth = rise > 5 ? "more" : rise < -5 ? "less" : "the same", complies = batch.tests.dosage.verdict === "complies" ? "yes" : "no";
    asked += 2;
    right += (last === truth) + (passes === complies);
    said.textContent = `You said the last units hold ${last}; they hold ${signed(rise)} %, ${last === truth ? "so you were right" : "which is " + truth}. ` +
      `You said ${passes} to compliance; the answer is: ${batch.tests.dosage.verdict}${passes === complies ? ", so you were right" : ""}. ` +
      `${right} of ${asked} right so far. Now slide and watch, or take another.`;
    document.getElementById("another").focus();
  }

  function another() {
    for (const one of sliders) {
      if (one.id === "assays") continue;
      const steps = Math.round((one.max - one.min) / one.step);
      one.value = Number(one.min) + Math.round(Math.random() * steps) * one.step;
    }
    for (const one of questions.querySelectorAll("input:checked")) one.checked = false;
    shown = false;
    said.textContent = "New settings stand on the sliders. What will happen?";
    show();
    questions.querySelector("input").focus();
  }

  form.addEventListener("input", show);
  look.addEventListener("input", show);
  document.getElementById("predict").addEventListener("click", answer);
  document.getElementById("another").addEventListener("click", another);
  document.getElementById("reset").addEventListener("click", () => { form.reset(); show(); });
  show();
})();
