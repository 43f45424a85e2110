"use strict";
// The melt that settles while it is poured, and the tests of its units: the same steps as qc/simulate and qc/rules, in the
// browser. tests/teach/test_live_page.py holds it against them on a thousand random settings.

function speeds(made, s) {
  // Stokes, for size classes of equal mass; [m/s]
  const factor = (made.displacement - 1) * made.melt_density_g_cm3 * 1e3 * made.gravity / (18 * s.viscosity * 1e-3);
  return made.scores.map((score) => factor * (s.particle * 1e-6 * made.particle_spread ** score) ** 2);
}

function settle(state, free, made, seconds) {
  const classes = free.length, layers = state.layers;
  if (seconds <= 0 || !layers.length) return;
  const most = 3 * made.thickness * layers.length / seconds;
  const limited = free.map((v) => Math.max(-most, Math.min(most, v)));
  const fastest = Math.max(...limited.map(Math.abs));
  const steps = Math.max(1, Math.ceil(fastest * seconds / made.thickness));
  const share = seconds / steps / made.thickness;
  for (let step = 0; step < steps; step++) {
    let above = new Array(classes).fill(0);
    // An active denser than the base only sinks: what leaves a layer enters the one below.
    for (const layer of layers) {
      const crowding = Math.min(layer.reduce((a, b) => a + b, 0) * made.solids_a_share, 0.6);
      const hindered = (1 - crowding) ** made.exponent * share;
      const down = layer.map((mass, at) => limited[at] * hindered * mass);
      for (let at = 0; at < classes; at++) layer[at] += above[at] - down[at];
      above = down;
    }
    for (let at = 0; at < classes; at++) state.floor[at] += above[at];
  }
}

function stir(state, share) {
  const classes = state.floor.length, count = state.layers.length;
  for (let at = 0; at < classes; at++) {
    let lifted = state.floor[at];
    for (const layer of state.layers) lifted += layer[at];
    lifted *= share;
    for (const layer of state.layers) layer[at] = layer[at] * (1 - share) + lifted / count;
    state.floor[at] *= 1 - share;
  }
}

// Content of each unit over that of an even melt, the share left in the dish, and the dish before each unit, top first.
function pourMelt(made, s) {
  const free = speeds(made, s), classes = free.length, count = made.layers;
  const state = { floor: new Array(classes).fill(0), layers: [] };
  for (let at = 0; at < count; at++) state.layers.push(new Array(classes).fill(1 / classes / count));
  settle(state, free, made, s.standing * 60);
  const contents = [], dish = [], deposit = [];
  for (let unit = 0; unit < made.units; unit++) {
    dish.push(state.layers.map((layer) => layer.reduce((a, b) => a + b, 0) * count));
    deposit.push(state.floor.reduce((a, b) => a + b, 0));
    let content = 0;
    for (const layer of state.layers.splice(0, made.layers_a_unit)) for (const mass of layer) content += mass;
    contents.push(content);
    if (state.layers.length && unit < made.units - 1) {
      settle(state, free, made, s.pouring * 60 / Math.max(made.units - 1, 1));
      if (s.stir_every > 0 && (unit + 1) % s.stir_every === 0) stir(state, made.stirring);
    }
  }
  const floor = state.floor.reduce((a, b) => a + b, 0), reach = Math.min(made.scraping_units, contents.length);
  for (let at = 0; at < reach; at++) {
    contents[contents.length - reach + at] += made.scraped * floor * (at + 1) / (reach * (reach + 1) / 2);
  }
  const even = made.layers_a_unit / count;
  const left = 1 - contents.reduce((a, b) => a + b, 0);
  return { relative: contents.map((one) => one / even), left, dish, deposit };
}

const rounded = (value, decimals) => Math.round(value * 10 ** decimals) / 10 ** decimals;
const mean = (values) => values.reduce((a, b) => a + b, 0) / values.length;
const deviation = (values) => {
  const middle = mean(values);
  return Math.sqrt(values.reduce((sum, one) => sum + (one - middle) ** 2, 0) / (values.length - 1));
};

// Everything that the page shows for one setting.
function pourBatch(made, s) {
  const poured = pourMelt(made, s), loading = made.label_mg / 1000 / made.base_g;
  const used = made.displacement * (1 + s.displacement_error / 100);
  const volume = 1 / (1 + loading * (1 / made.displacement - 1 / used));
  const gain = 1 - 1 / made.displacement, units = [];
  for (let unit = 0; unit < made.units; unit++) {
    const capacity = made.cavity_g[unit % made.cavity_g.length] * Math.exp(s.fill / 100 * made.luck_fill[unit]);
    const content = made.label_mg * capacity / made.base_g * poured.relative[unit] * volume * made.luck_mixing[unit];
    units.push({ content, mass: capacity + content / 1000 * gain });
  }
  const masses = units.map((one) => rounded(one.mass, 3));
  const assayed = made.assayed[s.assays], found = {};
  for (const unit of assayed) found[unit] = rounded(units[unit].content * made.luck_assay[unit], 1);
  const planned = made.base_g + made.label_mg / 1000 * (1 - 1 / used);
  return { ...poured, units, masses, assayed, found, planned, tests: tests(made, masses, assayed.map((unit) => found[unit])) };
}

function beyond(values, percent) {
  const middle = mean(values);
  return values.filter((one) => Math.abs(one / middle - 1) * 100 > percent + 1e-9).length;
}

function tests(made, masses, contents) {
  const { mass: ofMass, band, content: ofContent, dosage: ofDosage } = made.limits;
  const inner = beyond(masses, band.limit_percent), outer = beyond(masses, band.outer_percent);
  const mass = {
    mean: mean(masses), rsd: 100 * deviation(masses) / mean(masses), inner, outer,
    verdict: inner <= ofMass.most_beyond_limit && outer === 0 ? "complies" : "does not comply",
  };
  if (contents.length < ofContent.first_size) {
    const few = { verdict: contents.length ? "too few units" : "not assessed" };
    return { mass, content: few, dosage: few };
  }
  const off = beyond(contents, ofContent.inner_percent), far = beyond(contents, ofContent.outer_percent);
  const content = {
    mean: mean(contents), inner: off, outer: far,
    verdict: far > 0 || off > ofContent.continues_with ? "does not comply" : off > ofContent.passes_with ? "second stage due" : "complies",
  };
  const shares = contents.map((one) => 100 * one / made.label_mg), middle = mean(shares), sd = deviation(shares);
  const reference = Math.max(ofDosage.reference_low_percent, Math.min(ofDosage.reference_high_percent, middle));
  const value = Math.abs(reference - middle) + ofDosage.first_k * sd;
  const never = shares.some((one) => one < (1 - ofDosage.l2_percent / 100) * ofDosage.reference_low_percent - 1e-9 ||
    one > (1 + ofDosage.l2_percent / 100) * ofDosage.reference_high_percent + 1e-9);
  const dosage = {
    mean: middle, sd, value,
    verdict: rounded(value, ofDosage.rounding_decimals) <= ofDosage.l1_percent ? "complies" : never ? "does not comply" : "second stage due",
  };
  return { mass, content, dosage };
}
