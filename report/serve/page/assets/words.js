// Texts and figures in the chosen language, one catalogue each.

const codes = ['en', 'de'];
let texts = {};
export let language = 'en';

export const languages = codes;

// chooseLanguage loads a catalogue: the one asked for, else the one chosen before,
// else the browser's.
export async function chooseLanguage(code) {
  const asked = [code, remembered(), ...navigator.languages.map((tag) => tag.slice(0, 2))];
  language = asked.find((each) => codes.includes(each)) ?? 'en';
  const answer = await fetch(`/assets/${language}.json`);
  texts = await answer.json();
  document.documentElement.lang = language;
  if (code) remember(language);
}

// A browser may forbid storage: then nothing is remembered.
function remembered() {
  try { return localStorage.getItem('language'); } catch { return null; }
}
function remember(code) {
  try { localStorage.setItem('language', code); } catch { /* for this visit only */ }
}

// say is the text of a key, with each {name} filled in; a key without a text shows
// itself: a test looks for all of them.
export function say(key, filling = {}) {
  return (texts[key] ?? key).replace(/\{(\w+)\}/g, (whole, name) => filling[name] ?? whole);
}

// said is why the server did not do something and what to do. It says so in English, and
// more exactly than a catalogue can; other languages have their words by its code.
export function said(code, reason = '', remedy = '') {
  return language === 'en' ? [reason, remedy] : [texts[`error.${code}`] ?? reason, texts[`error.${code}.remedy`] ?? remedy];
}

// inSign writes a figure with the language's decimal sign and a true minus.
function inSign(figure) {
  return figure.replace('.', say('decimal')).replace(/^-/, '−');
}

// number writes v with that many decimals, and never "-0".
export function number(v, decimals) {
  const shown = v.toFixed(Math.max(decimals, 0));
  return inSign(Number(shown) === 0 ? shown.replace('-', '') : shown);
}

// plain writes v with as few decimals as it needs, three at most.
export function plain(v) {
  return inSign(String(Number(v.toFixed(3))));
}

// read takes a number with either decimal sign; NaN where there is none.
export function read(text) {
  const cleaned = text.trim().replace(',', '.').replace('−', '-');
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(cleaned) ? Number(cleaned) : NaN;
}

// A half-width is shown with two significant digits and rounded up, so that a
// rounded interval never claims more: the rule of the reports (JCGM 100, 7.2.6).
function roundUp(v, decimals) {
  const unit = 10 ** -decimals;
  return Math.ceil(v / unit - 0.1) * unit;
}

export function decimals(half) {
  const d = 1 - Math.floor(Math.log10(half));
  return roundUp(half, d) * 10 ** d > 99.5 ? d - 1 : d;
}

export function halfOf(q) {
  const half = Math.max(q.high_95 - q.value, q.value - q.low_95);
  return q.low_95 <= q.value && q.value <= q.high_95 && half > 0 && Number.isFinite(half) ? half : null;
}

export function halfText(half) {
  const d = decimals(half);
  return number(roundUp(half, d), d);
}

// toeOnly is a toe with its direction: "4.3 mm toe-in".
export function toeOnly(mm, d) {
  const figure = Math.abs(mm).toFixed(Math.max(d, 0));
  const kind = Number(figure) === 0 ? 'toe.none' : mm < 0 ? 'toe.out' : 'toe.in';
  return say(kind, { mm: inSign(figure) });
}

// toe is a toe with half of its interval; without an interval no figure is shown.
export function toe(q) {
  const half = q && halfOf(q);
  if (!half) return say('unknown');
  return `${toeOnly(q.value, decimals(half))} ± ${halfText(half)} mm`;
}

// toeTarget is a toe that a person has set.
export function toeTarget(mm) {
  return toeOnly(mm, Number.isInteger(mm) ? 0 : 1);
}

// inch is the same in inches, as an addition.
export function inch(q) {
  const half = q && halfOf(q);
  if (!half) return '';
  const d = decimals(half / 25.4);
  return say('inch', { inch: number(Math.abs(q.value) / 25.4, d), half: halfText(half / 25.4) });
}

// amount is any quantity with its unit.
export function amount(q, unit) {
  const half = q && halfOf(q);
  return half ? `${number(q.value, decimals(half))} ± ${halfText(half)} ${unit}` : say('unknown');
}

export function moment(time) {
  const at = new Date(time);
  return Number.isNaN(at.valueOf()) ? '' : at.toLocaleString(language, { dateStyle: 'medium', timeStyle: 'short' });
}
