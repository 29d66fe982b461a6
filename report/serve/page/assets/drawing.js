// Drawings as SVG, each with its meaning in words. No meaning hangs on a colour.
import { s } from './dom.js';
import { halfOf, say, toe, toeTarget } from './words.js';

const drawing = (viewBox, title, ...parts) =>
  s('svg', { viewBox, role: 'img', 'aria-label': title, class: 'drawing' }, ...parts);

// The floor from above, in cm: x to the vehicle's right, y down the page to the rear,
// the front axle at y = 0. Measures as on the sheets.
const wheel = (x) => s('rect', { x: x - 3, y: -25, width: 6, height: 50, rx: 3, class: 'solid' });
const rear = s('rect', { x: -3, y: 80, width: 6, height: 66, rx: 3, class: 'solid' });
function sheet(x, y, number) {
  return s('g', { class: 'sheet' },
    s('rect', { x: x - 10.5, y: y - 15, width: 21, height: 30, class: 'paper' }),
    s('path', { d: `M${x} ${y - 12}l5 6h-3v5h-4v-5h-3z`, class: 'solid' }),
    s('text', { x, y: y + 10, 'text-anchor': 'middle', 'font-size': 14 }, String(number)));
}
function frame() {
  return s('g', {}, wheel(-36), wheel(36), rear.cloneNode(),
    s('path', { d: 'M-33 0H33M0 0V80M0 20l-14 8v26h28v-26z', class: 'line' }));
}
function person(x, y, label) {
  return s('g', {}, s('circle', { cx: x, cy: y, r: 9, class: 'person' }),
    s('text', { x, y: y + 4.5, 'text-anchor': 'middle', 'font-size': 12, class: 'on-person' }, label));
}
const dimension = (d, x, y, text) => s('g', {}, s('path', { d, class: 'thin' }),
  s('text', { x, y, 'font-size': 9 }, text));

// floorPlan shows where the sheets lie and where to stand.
export function floorPlan() {
  return drawing('-100 -140 200 330', say('plan.title'),
    s('text', { x: 0, y: -88, 'text-anchor': 'middle', 'font-size': 11 }, say('plan.front')),
    frame(), sheet(20, -40, 1), sheet(-20, 40, 2),
    dimension('M44 -40h12M44 0h12M50 -40V0', 60, -17, '40 cm'),
    dimension('M-56 0h12M-56 40h12M-50 0V40', -84, 23, '40 cm'),
    person(0, -120, 'A'), person(0, 170, 'B'), person(0, -6, 'C'));
}

// standing shows one view: where the phone is, and what it has to see.
export function standing(view) {
  const place = { front: [0, -120], rear: [0, 170], above: [0, -6], other: [-70, -100] }[view];
  return drawing('-100 -140 200 330', say(`stand.${view}`),
    frame(), sheet(20, -40, 1), sheet(-20, 40, 2), person(place[0], place[1], ''),
    view === 'above' ? null : s('path', { d: `M${place[0]} ${place[1]}L-48 0M${place[0]} ${place[1]}L48 0`, class: 'thin' }));
}

// intervalBar shows a toe's 95 % interval against the hatched band of the target, with
// the intervals before it as thin lines above: each further photo should narrow it.
export function intervalBar({ toe: q, target, before = [], forecast = null }) {
  const all = [...before, q].filter((each) => each && halfOf(each));
  if (!all.length) return null;
  const shown = all.slice(-5);
  const low = Math.min(target.low_mm, ...shown.map((each) => each.low_95)) - 0.3;
  const high = Math.max(target.high_mm, ...shown.map((each) => each.high_95)) + 0.3;
  const at = (mm) => 8 + 304 * (mm - low) / (high - low);
  const line = (each, y, kind) => s('path', { d: `M${at(each.low_95)} ${y}H${at(each.high_95)}M${at(each.low_95)} ${y - 4}v8M${at(each.high_95)} ${y - 4}v8`, class: kind });
  const y = 14 + 9 * (shown.length - 1);
  const bottom = y + 12;
  const latest = shown.at(-1);
  const words = say('bar.title', { toe: toe(latest), low: toeTarget(target.low_mm), high: toeTarget(target.high_mm) });
  return drawing(`0 0 320 ${bottom + 34}`, words,
    s('defs', {}, s('pattern', { id: 'hatch', width: 6, height: 6, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' },
      s('path', { d: 'M0 0V6', class: 'hatch' }))),
    s('rect', { x: at(target.low_mm), y: 2, width: at(target.high_mm) - at(target.low_mm), height: bottom - 2, fill: 'url(#hatch)', class: 'band' }),
    shown.slice(0, -1).map((each, i) => line(each, 10 + 9 * i, 'earlier')),
    line(latest, y, 'now'),
    forecast && s('path', { d: `M${at(latest.value - forecast)} ${y}H${at(latest.value + forecast)}`, class: 'forecast' }),
    s('path', { d: `M${at(latest.value)} ${y - 7}l5 7l-5 7l-5-7z`, class: 'mark' }),
    s('path', { d: `M8 ${bottom}H312`, class: 'thin' }), ticks(low, high, at, bottom));
}

function ticks(low, high, at, y) {
  const step = [0.5, 1, 2, 5, 10, 20, 50, 100].find((each) => (high - low) / each <= 7) ?? 200;
  const marks = [];
  for (let mm = Math.ceil(low / step) * step; mm <= high; mm += step) {
    const text = String(Number(mm.toFixed(1))).replace('.', say('decimal')).replace('-', '−');
    marks.push(s('path', { d: `M${at(mm)} ${y}v5`, class: 'thin' }),
      s('text', { x: at(mm), y: y + 16, 'text-anchor': 'middle', 'font-size': 11 }, text));
  }
  return [...marks,
    s('text', { x: 8, y: y + 31, 'font-size': 11 }, say('bar.out')),
    s('text', { x: 312, y: y + 31, 'font-size': 11, 'text-anchor': 'end' }, say('bar.in'))];
}
