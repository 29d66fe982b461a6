// The result of a stage: the toe, what it means for the target, what to turn, and
// which stage comes next after each lock nut.
import { get, listen, post } from './api.js';
import { fault, field, guarded, h, select } from './dom.js';
import { intervalBar } from './drawing.js';
import { figure, refusedParts } from './parts.js';
import { amount, number, plain, read, say, toe, toeTarget } from './words.js';

export async function result(page) {
  const { id, job, show } = page;
  if (job.measured?.state === 'measuring') return wait(page);
  const again = async () => result({ ...page, job: await get(`jobs/${id}`) });
  const fresh = job.measured?.result ?? null; // not in the record yet
  const last = job.stages.at(-1);
  const q = (fresh ?? last)?.total_toe_mm;
  const stage = fresh ? job.next.stage : last?.stage ?? job.next.stage;
  show(say('result.title', { stage: say(`stage.${stage}`) }),
    job.measured?.refused && h('section', { 'aria-labelledby': 'refused' }, h('h2', { id: 'refused' }, say(fresh ? 'result.apart' : 'result.refused')), refusedParts(job.measured, job.photos)),
    q ? toeParts(q, job, fresh) : !job.measured?.refused && h('p', {}, say('result.none')),
    fresh && keep(page, again),
    q && nextParts(page, fresh),
    last && !fresh && [adviceParts(job.advice, job.next), job.next.task === 'adjust' && turnedForm(page, again)],
    fresh && [wheelTable(fresh), rearTable(fresh), budget(fresh), notes(fresh)],
    steeringForm(page, again),
    h('p', {}, h('a', { href: `#/job/${id}` }, say('result.record'))));
}

// wait shows the result when it is measured.
function wait(page) {
  const path = `jobs/${page.id}`;
  page.show(say('result.title', { stage: say(`stage.${page.job.next.stage}`) }), h('p', {}, say('reading.measuring')));
  const look = async () => {
    const job = await get(path).catch(() => null); // lost: the next connection tells
    if (!job || job.measured?.state === 'measuring') return;
    end();
    await result({ ...page, job });
  };
  const end = listen(`${path}/events`, { open: look, measured: look });
  return end;
}

function verdictOf(q, { low_mm: low, high_mm: high }) {
  if (low <= q.low_95 && q.high_95 <= high) return 'within';
  if (q.high_95 < low || high < q.low_95) return 'outside';
  return low <= q.value && q.value <= high ? 'perhaps_within' : 'perhaps_not';
}

function toeParts(q, { target, stages }, fresh) {
  const first = stages[0]?.total_toe_mm;
  return h('section', { class: 'reading', 'aria-labelledby': 'toe' }, h('h2', { id: 'toe' }, say('result.toe')), figure(q),
    h('p', {}, say('result.wanted', { aim: toeTarget(target.aim_mm), low: toeTarget(target.low_mm), high: toeTarget(target.high_mm) }), fresh && h('strong', {}, ` ${say(`target.${verdictOf(q, target)}`)}`)),
    h('div', { class: 'bar' }, intervalBar({ toe: q, target, before: first && first !== q ? [first] : [] })),
    h('p', { class: 'hint' }, say('bar.key')));
}

// keep takes the photos and their result into the record.
function keep({ id, job }, again) {
  const stage = select('stage', ['as_found', 'adjusted', 'first_lock_nut', 'second_lock_nut', 'final', 'follow_up'].map((each) => [each, say(`stage.${each}`)]), job.next.stage);
  const send = async () => { await post(`jobs/${id}/settle`, { stage: stage.value, note: say('keep.unused') }); await again(); };
  return h('section', { 'aria-labelledby': 'keep' }, h('h2', { id: 'keep' }, say('keep.title')),
    guarded(send, field(say('keep.stage'), stage, say('keep.hint')), h('p', {}, h('button', { class: 'main' }, say('keep.do')))));
}

function nextParts({ id, job }, fresh) {
  const { task, text } = job.next;
  const link = (step, text) => h('p', {}, h('a', { href: `#/job/${id}/${step}`, class: 'button' }, say(text)));
  return h('section', { 'aria-labelledby': 'next' }, h('h2', { id: 'next' }, say('next.title')),
    fresh ? h('p', {}, say('next.keep')) : h('p', {}, text),
    !fresh && (task === 'clear' || task === 'checks' ? link('checks', 'next.tochecks') : task !== 'wait' && task !== 'adjust' && link('photos', 'next.again')));
}

// adviceParts say what to turn. The cautions are never without it, nor it without them.
function adviceParts(advice, { task }) {
  if (!advice) return task === 'adjust' && h('p', {}, h('strong', {}, say('advice.none')));
  const list = (lines, more) => h('ul', more, lines.map((each) => h('li', {}, each)));
  return h('section', { class: 'advice', 'aria-labelledby': 'advice' }, h('h2', { id: 'advice' }, say('advice.title')),
    h('p', {}, h('strong', {}, advice.summary)), list(advice.instructions),
    advice.answer === 'turn' && h('p', {}, say('advice.expected', { toe: toe(advice.expected.total_toe_mm) })),
    h('h3', {}, say('cautions')), list(advice.cautions, { class: 'cautions' }));
}

// turnedForm records what was turned: every rod as it was, which is not always as advised.
function turnedForm({ id, job }, again) {
  const rods = ['tie_rod', 'left_rod', 'right_rod', 'cross_rod', 'bar_rod'];
  const advised = job.advice?.turns ?? [];
  const rows = (advised.length ? advised : [{ rod: 'tie_rod', longer: true }]).map((turn, i) => ({
    rod: select(`rod-${i}`, rods.map((each) => [each, say(`rod.${each}`)]), turn.rod),
    way: select(`way-${i}`, [['1', say('turned.longer')], ['-1', say('turned.shorter')]], turn.longer ? '1' : '-1'),
    turns: h('input', { id: `turns-${i}`, inputmode: 'decimal', autocomplete: 'off', value: turn.turns ? plain(turn.turns) : '' }),
  }));
  const send = async () => {
    const wrong = rows.filter(({ turns }) => fault(turns, read(turns.value) > 0 && read(turns.value) <= 20 ? '' : say('turned.wrong')));
    if (wrong.length) return wrong[0].turns.focus();
    await post(`jobs/${id}/turned`, { turned: rows.map(({ rod, way, turns }) => ({ rod: rod.value, longer_by_turns: Number(way.value) * read(turns.value) })) });
    await again();
  };
  return h('section', { 'aria-labelledby': 'turned' }, h('h2', { id: 'turned' }, say('turned.title')), guarded(send, h('p', { class: 'hint' }, say('turned.hint')),
    rows.map(({ rod, way, turns }) => h('div', { class: 'row' }, field(say('turned.rod'), rod), field(say('turned.way'), way), field(say('turned.turns'), turns))),
    h('p', {}, h('button', { class: 'main' }, say('turned.do')))));
}

function wheelTable(result) {
  const rows = [
    ...result.wheels.flatMap((each) => [[say(`wheel.toe.${each.side}`), amount(each.toe_deg, '°')], [say(`wheel.camber.${each.side}`), amount(each.camber_deg, '°')]]),
    [say('wheel.track'), amount(result.track_mm, 'mm')], [say('wheel.front'), amount(result.gap_front_mm, 'mm')], [say('wheel.rear'), amount(result.gap_rear_mm, 'mm')],
    [say('wheel.rims'), toe(result.rim_total_toe_mm)],
    ...(result.runout ?? []).map((each) => [say(`wheel.runout.${each.side}`), amount(each.peak_to_peak_mm, 'mm')]),
  ];
  return quantities('wheels', say('wheel.title'), rows, say('wheel.hint'));
}

function rearTable({ rear }) {
  if (!rear) return null; // the notes say that only the pair is known
  return quantities('rear', say('rearwheel.title'), [
    [say('rearwheel.thrust'), amount(rear.thrust_deg, '°')], [say('rearwheel.thrust_mm'), amount(rear.thrust_mm, 'mm')],
    [say('rearwheel.lean'), amount(rear.lean_deg, '°')],
    [say('rearwheel.offset'), amount(rear.offset_mm, 'mm')], [say('rearwheel.steering'), amount(rear.steering_off_deg, '°')],
    [say('rearwheel.wheelbase'), amount(rear.wheelbase_mm, 'mm')], [say('rearwheel.straight'), toe(rear.straight_total_toe_mm)],
  ], say('rearwheel.hint'));
}

function quantities(id, title, rows, hint) {
  return h('section', { 'aria-labelledby': id }, h('h2', { id }, title),
    h('table', {}, h('caption', { class: 'unseen' }, title), h('tbody', {}, rows.map(([name, value]) => h('tr', {}, h('th', { scope: 'row' }, name), h('td', {}, value))))),
    h('p', { class: 'hint' }, hint));
}

function budget(result) {
  return h('details', { id: 'budget' }, h('summary', {}, say('budget.title')),
    h('table', {}, h('caption', { class: 'unseen' }, say('budget.title')),
      h('thead', {}, h('tr', {}, ['budget.source', 'budget.u', 'budget.share'].map((key) => h('th', { scope: 'col' }, say(key))))),
      h('tbody', {}, result.budget.map((line) => h('tr', {}, h('th', { scope: 'row' }, line.source),
        h('td', {}, `${number(line.contribution_mm, 2)} mm`), h('td', {}, `${number(100 * line.share, 0)} %`))))));
}

function notes(result) {
  if (!result.notes.length) return null;
  return h('section', { 'aria-labelledby': 'notes' }, h('h2', { id: 'notes' }, say('notes')), h('ul', {}, result.notes.map((each) => h('li', {}, each))));
}

// steeringForm describes what the advice needs to know; what it leaves out of a
// description made elsewhere stays as it is.
function steeringForm({ id, job }, again) {
  const s = job.record.vehicle?.steering ?? {};
  const options = (name, list) => [['', say('steering.unknown')], ...list.map((each) => [each, say(`steering.${name}.${each}`)])];
  const kind = select('kind', options('kind', ['one_rod', 'two_rods', 'bar_and_cross_rod']), s.kind);
  const rods = select('rods', options('rods', ['behind', 'in_front']), s.rods);
  const ends = select('ends', options('ends', ['right_and_left', 'both_right']), s.ends);
  const left = select('left-thread', options('left', ['left', 'right', 'outer', 'inner']), s.left_thread);
  const thread = h('input', { id: 'thread', value: s.thread ?? '', autocomplete: 'off', maxlength: 30 });
  const mm = (id, value) => h('input', { id, inputmode: 'decimal', autocomplete: 'off', value: value == null ? '' : plain(value) });
  const arm = mm('arm', s.arm_mm?.value);
  const engaged = mm('engaged', s.engaged_mm);
  const [aim, low, high] = ['aim', 'low', 'high'].map((each) => mm(each, job.target[`${each}_mm`]));
  const send = async () => {
    const lengths = [arm, engaged].filter((each) => fault(each, each.value.trim() === '' || read(each.value) > 0 ? '' : say('steering.wrong')));
    const target = { aim_mm: read(aim.value), low_mm: read(low.value), high_mm: read(high.value) };
    const toes = [aim, low, high].filter((each) => fault(each, Number.isFinite(read(each.value)) ? '' : say('steering.wrong')));
    if (!toes.length && fault(aim, target.low_mm <= target.aim_mm && target.aim_mm <= target.high_mm && target.low_mm < target.high_mm ? '' : say('steering.order'))) toes.push(aim);
    const wrong = [...lengths, ...toes];
    if (wrong.length) return wrong[0].focus();
    const told = {
      kind: kind.value, rods: rods.value, ends: ends.value, left_thread: left.value, thread: thread.value.trim(), target,
      arm_mm: arm.value.trim() && { ...s.arm_mm, value: read(arm.value) }, engaged_mm: engaged.value.trim() && read(engaged.value),
    };
    await post(`jobs/${id}/steering`, Object.fromEntries(Object.entries({ ...s, ...told }).filter(([, value]) => value !== '' && value != null)));
    await again();
  };
  return h('details', { id: 'steering', open: job.next.task === 'adjust' && !job.advice }, h('summary', {}, say('steering.title')), guarded(send,
    field(say('steering.thread'), thread, say('steering.thread.hint')), field(say('steering.kind'), kind), field(say('steering.rods'), rods),
    field(say('steering.arm'), arm, say('steering.arm.hint')), field(say('steering.ends'), ends), field(say('steering.left'), left),
    field(say('steering.engaged'), engaged),
    h('fieldset', {}, h('legend', {}, say('steering.target')), h('p', { class: 'hint' }, say('steering.target.hint')), h('div', { class: 'row' }, field(say('steering.aim'), aim), field(say('steering.low'), low), field(say('steering.high'), high))),
    h('p', {}, h('button', { class: 'main' }, say('save')))));
}
