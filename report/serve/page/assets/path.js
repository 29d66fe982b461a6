// Measuring alone, step by step: sheets, ruler, vehicle, checks, photos, result. The
// first three come before there is a job; what was entered is kept in the browser
// until it is made.
import { get, post } from './api.js';
import { announce, fault, field, guarded, h, select } from './dom.js';
import { floorPlan } from './drawing.js';
import { alarms } from './parts.js';
import { photos } from './photos.js';
import { result } from './result.js';
import { plain, read, say } from './words.js';

const steps = ['sheets', 'ruler', 'vehicle', 'checks', 'photos', 'result'];

export async function measure(show, id, step) {
  const job = id && await get(`jobs/${id}`);
  const page = { id, job, step, show: (title, ...parts) => show(title, stepList(id, step), about(job), alarms(job), ...parts) };
  return { sheets, ruler, vehicle, checks, photos, result }[step](page);
}

const address = (id, step) => (id ? `#/job/${id}/${step}` : `#/new/${step}`);

function stepList(id, step) {
  return h('nav', { 'aria-label': say('steps') }, h('ol', { class: 'steps' }, steps.map((each) => {
    const open = id || steps.indexOf(each) < 3;
    const text = say(`step.${each}`);
    return h('li', {}, open ? h('a', { href: address(id, each), 'aria-current': each === step && 'step' }, text) : h('span', {}, text));
  })));
}

function about(job) {
  if (!job) return null;
  const { reference, customer, vehicle: { name } = {} } = job.record;
  return h('p', { class: 'about' }, [reference, customer, name].filter(Boolean).join(' · '));
}

const forward = (to, key = 'next') => h('p', { class: 'forward' }, h('a', { href: to, class: 'button main' }, say(key)));
const bulleted = (...keys) => h('ul', {}, keys.map((key) => h('li', {}, say(key))));

function sheets({ id, show }) {
  const paper = (kind) => h('a', { class: 'button', href: `/api/sheets.pdf?paper=${kind}`, target: '_blank', rel: 'noopener' }, say(`paper.${kind}`));
  show(say('sheets.title'), h('p', {}, say('sheets.print')), h('p', { class: 'buttons' }, paper('a4'), paper('letter')),
    h('div', { class: 'beside' }, h('figure', { class: 'plan' }, floorPlan()),
      h('div', {}, h('h2', {}, say('sheets.lay')), bulleted('sheets.lay1', 'sheets.lay2', 'sheets.lay3'),
        h('h2', {}, say('sheets.stand')), bulleted('sheets.standA', 'sheets.standB', 'sheets.standC'))),
    forward(address(id, 'ruler')));
}

function number(id, value) {
  return h('input', { id, inputmode: 'decimal', autocomplete: 'off', value: plain(value) });
}

function ruler({ id, job, show }) {
  const [across, along] = (job ? job.record : draft()).ruler_mm ?? [100, 100];
  const x = number('ruler-x', across);
  const y = number('ruler-y', along);
  const saved = async (event) => {
    event.preventDefault();
    const wrong = [x, y].filter((each) => {
      const mm = read(each.value);
      return fault(each, mm >= 80 && mm <= 120 ? '' : say('ruler.wrong'));
    });
    if (wrong.length) return wrong[0].focus();
    const measured = { ruler_mm: [read(x.value), read(y.value)] };
    if (id) await post(`jobs/${id}/vehicle`, measured); else keepDraft(measured);
    location.hash = address(id, 'vehicle');
  };
  show(say('ruler.title'), h('p', {}, say('ruler.how')), guarded(saved,
    field(say('ruler.x'), x, say('ruler.x.hint')), field(say('ruler.y'), y, say('ruler.y.hint')),
    h('p', { class: 'forward' }, h('button', { class: 'main' }, say('next')))));
}

const rims = [305, 349, 355, 406, 451, 507, 540, 559, 571, 584, 590, 622];

function vehicle({ id, job, show }) {
  const known = job?.record ?? { vehicle: {} };
  const steering = known.vehicle.steering ?? {};
  const text = (field, value) => h('input', { id: field, value: value ?? '', maxlength: 120, autocomplete: 'off' });
  const reference = text('reference', known.reference);
  const customer = text('customer', known.customer);
  const name = text('name', known.vehicle.name);
  const rim = select('rim', [['', say('vehicle.rim.unknown')], ...rims.map((mm) => [String(mm), `${mm} mm`])], String(known.vehicle.rim_mm || ''));
  const sprung = h('input', { type: 'checkbox', id: 'sprung', checked: steering.sprung });
  const rider = h('input', { type: 'checkbox', id: 'rider', checked: steering.rider_on });
  const tick = (box, key) => h('div', { class: 'tick' }, box, h('label', { for: box.id }, say(key)));
  const saved = async () => {
    if (fault(reference, reference.value.trim() ? '' : say('vehicle.reference.none'))) return reference.focus();
    const entered = {
      reference: reference.value.trim(), customer: customer.value.trim(),
      vehicle: { name: name.value.trim(), rim_mm: Number(rim.value), steering: { ...steering, sprung: sprung.checked, rider_on: rider.checked } },
    };
    if (id) await post(`jobs/${id}/vehicle`, entered);
    const made = id ?? encodeURIComponent((await post('jobs', { ...draft(), ...entered })).id);
    if (!id) keepDraft(null);
    location.hash = address(made, 'checks');
  };
  show(say('vehicle.title'), guarded(saved,
    field(say('vehicle.reference'), reference, say('vehicle.reference.hint')), field(say('vehicle.name'), name), field(say('vehicle.customer'), customer),
    field(say('vehicle.rim'), rim, say('vehicle.rim.hint')),
    h('fieldset', {}, h('legend', {}, say('vehicle.load')), tick(sprung, 'vehicle.sprung'), tick(rider, 'vehicle.rider'), h('p', { class: 'hint' }, say('vehicle.load.hint'))),
    h('h2', {}, say('vehicle.bars')), bulleted('vehicle.bars1', 'vehicle.bars2', 'vehicle.bars3'),
    h('p', { class: 'forward' }, h('button', { class: 'main' }, say(id ? 'save' : 'vehicle.make')))));
}

function draft() {
  try { return JSON.parse(sessionStorage.getItem('draft')) ?? {}; } catch { return {}; }
}
function keepDraft(more) {
  if (more) sessionStorage.setItem('draft', JSON.stringify({ ...draft(), ...more })); else sessionStorage.removeItem('draft');
}

function checks({ id, job, show }) {
  const results = ['ok', 'failed', 'not_there'];
  const record = async (check, found, note, state) => {
    try {
      await post(`jobs/${id}/checks`, { check, result: found, note });
      state.textContent = say('checks.kept');
      announce(`${say(`check.${check}`)}: ${say(`checked.${found}`)}`);
    } catch (problem) { state.textContent = problem.message; }
  };
  const one = (check) => {
    const state = h('span', { class: 'state' });
    const note = h('input', { id: `note-${check.id}`, value: check.note ?? '', maxlength: 300, autocomplete: 'off' });
    const failure = h('div', { class: 'field', hidden: check.result !== 'failed' }, h('label', { for: note.id }, say('checks.note')), note);
    const choose = (found) => { failure.hidden = found !== 'failed'; return record(check.id, found, failure.hidden ? '' : note.value.trim(), state); };
    note.addEventListener('change', () => choose('failed'));
    return h('fieldset', { class: 'check' }, h('legend', {}, say(`check.${check.id}`)),
      h('div', { class: 'choices' }, results.map((found) => h('span', { class: 'tick' },
        h('input', { type: 'radio', name: check.id, id: `${check.id}-${found}`, checked: check.result === found, onchange: () => choose(found) }),
        h('label', { for: `${check.id}-${found}` }, say(`checked.${found}`)))), state), failure);
  };
  show(say('checks.title'), h('p', {}, say('checks.how')), h('form', { onsubmit: (event) => event.preventDefault() }, job.checks.map(one)),
    forward(address(id, 'photos')));
}
