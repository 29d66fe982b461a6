// What several views show: alarms, a toe, a photo and what it is worth, a refusal.
import { h } from './dom.js';
import { inch, language, number, say, toe } from './words.js';

// alarms are the checks that are not in order, and files that are not as they were
// recorded: nothing stands above them.
export function alarms(job) {
  const lines = job ? [...job.alarms, ...job.damage.map(({ file }) => say('damage', { file }))] : [];
  return lines.length > 0 && h('section', { class: 'attention', 'aria-labelledby': 'attention' },
    h('h2', { id: 'attention' }, say('attention')), h('ul', {}, lines.map((each) => h('li', {}, each))));
}

export function figure(q) {
  return h('p', { class: 'figure' }, h('strong', {}, toe(q)), h('span', { class: 'inch' }, ` ${inch(q)}`));
}

// picture is a photo made small, with the wheels drawn on: as its judgement found them,
// or as they were measured.
export function picture(path, key, name, measured = false) {
  const image = h('img', { src: `/api/${path}/uploads/${key}/picture?marks=1&width=480&language=${language}${measured ? '&measured' : ''}`, alt: say('photos.alt', { name }), width: 480, height: 360, loading: 'lazy' });
  image.addEventListener('error', () => image.remove()); // a file that is no picture has none
  return image;
}

const signs = { good: '✓', usable: '≈', repeat: '✗' };

// verdict says what a photo is worth, why, and what to change.
export function verdict(judgement) {
  if (!judgement) return h('p', { class: 'verdict' }, say('verdict.open'));
  return h('div', {},
    h('p', { class: `verdict ${judgement.verdict}` }, h('span', { 'aria-hidden': 'true' }, signs[judgement.verdict]), ` ${say(`verdict.${judgement.verdict}`)}`),
    judgement.findings.map(({ text, remedy }) => h('p', { class: 'finding' }, `${text} `, h('strong', {}, remedy))),
    h('ul', { class: 'seen' }, seen(judgement).map(([good, text]) =>
      h('li', {}, h('span', { 'aria-hidden': 'true' }, good ? '✓ ' : '✗ '), text))));
}

// seen is what was looked for in a photo and whether it is there.
function seen({ sheets, wheels, blur_px: blur, exposure, angle, findings }) {
  return [
    [sheets.length > 0, sheets.length ? say('seen.sheets', { list: sheets.join(', ') }) : say('seen.nosheet')],
    [wheels.length === 2, say(['seen.nowheels', `seen.only.${wheels[0]}`, 'seen.wheels'][wheels.length])],
    blur > 0 && [!findings.some((each) => each.code === 'blurred'), say('seen.blur', { px: number(blur, 1) })],
    exposure && [exposure === 'good', say(`exposure.${exposure}`)],
    angle && [true, say(`angle.${angle}`)],
  ].filter(Boolean);
}

// refusalReason names a photo, which the server calls by its key, as the person does.
export function refusalReason({ photo, reason }, photos = []) {
  const name = photos.find((each) => each.key === photo)?.name;
  return `${name ? `${name}: ` : ''}${reason}`;
}

// refusedParts say why there is no number, or one of the photos with the valves in one
// position alone.
export function refusedParts({ refused, alone }, photos) {
  return [h('p', { class: 'finding' }, `${refusalReason(refused, photos)} `, h('strong', {}, refused.remedy)), alone && h('p', {}, say(`alone.${alone}`))];
}
