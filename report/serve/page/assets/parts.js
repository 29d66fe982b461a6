// What several views show: alarms, a toe, a photo and what it is worth, a refusal.
import { h } from './dom.js';
import { inch, language, number, say, sayOr, toe } from './words.js';

// alarms are the checks that are not in order: nothing stands above them.
export function alarms(job) {
  if (!job?.alarms.length) return null;
  return h('section', { class: 'attention', 'aria-labelledby': 'attention' },
    h('h2', { id: 'attention' }, say('attention')), h('ul', {}, job.alarms.map((each) => h('li', {}, each))));
}

export function figure(q) {
  return h('p', { class: 'figure' }, h('strong', {}, toe(q)), h('span', { class: 'inch' }, ` ${inch(q)}`));
}

export function adviceText({ text }) {
  return sayOr(`advice.${text}`, text);
}

export function picture(path, key, name) {
  const image = h('img', { src: `/api/${path}/uploads/${key}/picture?marks=1&width=480`, alt: say('photos.alt', { name }), width: 480, height: 360, loading: 'lazy' });
  image.addEventListener('error', () => image.remove()); // a file that is no picture has none
  return image;
}

const signs = { good: '✓', usable: '≈', repeat: '✗' };

// verdict says what a photo is worth, why, and what to change.
export function verdict(judgement) {
  if (!judgement) return h('p', { class: 'verdict' }, say('verdict.open'));
  return h('div', {},
    h('p', { class: `verdict ${judgement.verdict}` }, h('span', { 'aria-hidden': 'true' }, signs[judgement.verdict]), ` ${say(`verdict.${judgement.verdict}`)}`),
    judgement.findings.map((finding) => {
      const [text, remedy] = findingText(finding);
      return h('p', { class: 'finding' }, `${text} `, h('strong', {}, remedy));
    }),
    h('ul', { class: 'seen' }, seen(judgement).map(([good, text]) =>
      h('li', {}, h('span', { 'aria-hidden': 'true' }, good ? '✓ ' : '✗ '), text))));
}

// seen is what was looked for in a photo and whether it is there.
function seen({ sheets = [], wheels, blur_px: blur, exposure, angle }) {
  const both = wheels?.left && wheels.right;
  const one = wheels?.left ? 'left' : 'right';
  return [
    [sheets.length > 0, sheets.length ? say('seen.sheets', { list: sheets.join(', ') }) : say('seen.nosheet')],
    wheels && [both, both ? say('seen.wheels') : say(wheels.left || wheels.right ? `seen.only.${one}` : 'seen.nowheels')],
    blur > 0 && [blur < 4, say('seen.blur', { px: number(blur, 1) })],
    exposure && [exposure === 'good', sayOr(`exposure.${exposure}`, exposure)],
    angle && [angle !== 'unknown', sayOr(`angle.${angle}`, angle)],
  ].filter(Boolean);
}

// findingText is what is wrong and what to do. The server says it in English, and
// more exactly than a catalogue can; other languages have their words by its code.
export function findingText({ code, text, remedy }) {
  if (language === 'en') return [text, remedy];
  return [sayOr(`finding.${code}`, text), sayOr(`finding.${code}.remedy`, remedy)];
}

// refusalText names a photo, which the server calls by its key, as the person does.
export function refusalText({ code, photo, reason, remedy }, photos = []) {
  const [text, act] = findingText({ code, text: reason, remedy });
  const name = photos.find((each) => each.key === photo)?.name;
  return { reason: `${name ? `${name}: ` : ''}${text}`, remedy: act };
}

export function refusedParts(refused, photos) {
  const { reason, remedy } = refusalText(refused, photos);
  return h('p', { class: 'finding' }, `${reason} `, h('strong', {}, remedy));
}
