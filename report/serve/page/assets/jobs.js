// The counter: all jobs with a search, and one job with before and after.
import { get } from './api.js';
import { announce, h, select } from './dom.js';
import { intervalBar } from './drawing.js';
import { alarms, figure } from './parts.js';
import { moment, say, toe } from './words.js';

export async function jobs(show) {
  const search = h('input', { type: 'search', id: 'search', autocomplete: 'off' });
  let list = h('div', {});
  let latest = 0;
  const fillList = async () => {
    const mine = ++latest;
    const found = await get(`jobs?search=${encodeURIComponent(search.value.trim())}`);
    if (mine !== latest) return;
    const next = h('div', {}, found.length ? h('ul', { class: 'cards' }, found.map(card)) : h('p', {}, say('jobs.none')));
    list.replaceWith(next);
    list = next;
    announce(say('jobs.count', { n: found.length }));
  };
  let timer;
  const soon = () => { clearTimeout(timer); timer = setTimeout(() => fillList().catch((problem) => announce(problem.message)), 250); };
  search.addEventListener('input', soon);
  show(say('jobs.title'),
    h('form', { role: 'search', onsubmit: (event) => { event.preventDefault(); soon(); } }, h('div', { class: 'field' }, h('label', { for: 'search' }, say('jobs.search')), search)),
    h('p', {}, h('a', { href: '#/new/sheets', class: 'button' }, say('jobs.new'))), list);
  await fillList();
  return () => clearTimeout(timer);
}

function card({ id, reference, customer, vehicle, updated, state, toe: q, warning }) {
  return h('li', { class: 'card' }, h('h2', {}, h('a', { href: `#/job/${encodeURIComponent(id)}` }, reference || id)),
    warning && h('p', { class: 'alert' }, h('span', { 'aria-hidden': 'true' }, '⚠ '), warning),
    h('p', {}, [customer, vehicle, moment(updated)].filter(Boolean).join(' · ')),
    h('p', {}, q ? toe(q) : say('jobs.unmeasured')), h('p', {}, state));
}

export async function overview(show, id) {
  const job = await get(`jobs/${id}`);
  const { reference, customer, vehicle } = job.record;
  const last = job.stages.at(-1);
  const link = (to, key, more = {}) => h('a', { href: to, class: 'button', ...more }, say(key));
  const file = (name, key) => link(`/api/jobs/${id}/${name}`, key, name.endsWith('.zip') ? { download: `${reference || job.id}.zip` } : { target: '_blank', rel: 'noopener' });
  show(reference || job.id, alarms(job),
    h('p', { class: 'about' }, [customer, vehicle?.name, vehicle?.rim_mm && `${vehicle.rim_mm} mm`].filter(Boolean).join(' · ')),
    last ? h('section', { class: 'reading', 'aria-labelledby': 'latest' }, h('h2', { id: 'latest' }, say(`stage.${last.stage}`)), figure(last.total_toe_mm),
      h('div', { class: 'bar' }, intervalBar({ toe: last.total_toe_mm, target: job.target, before: job.stages.slice(0, -1).map((each) => each.total_toe_mm) })), h('p', { class: 'hint' }, say('bar.key')))
      : h('p', {}, say('jobs.unmeasured')),
    h('p', {}, h('strong', {}, say('next.title')), `: ${job.next.text}`),
    h('p', { class: 'buttons' }, link(`#/job/${id}/photos`, 'jobs.photos'), link(`#/job/${id}/result`, 'jobs.result'), link(`#/job/${id}/checks`, 'jobs.checks'), link(`#/job/${id}/vehicle`, 'jobs.vehicle')),
    last && stageTable(job), compare(id, job.stages.filter((each) => each.top)),
    h('section', { 'aria-labelledby': 'paper' }, h('h2', { id: 'paper' }, say('jobs.paper')), h('p', { class: 'buttons' },
      file('report.html', 'jobs.report'), file('report.pdf', 'jobs.pdf'), file('export.zip', 'jobs.export'), h('button', { onclick: () => print() }, say('jobs.print')))));
}

function stageTable({ stages }) {
  return h('section', { 'aria-labelledby': 'stages' }, h('h2', { id: 'stages' }, say('jobs.stages')),
    h('table', {}, h('caption', { class: 'unseen' }, say('jobs.stages')),
      h('thead', {}, h('tr', {}, ['jobs.stage', 'jobs.toe', 'jobs.when'].map((key) => h('th', { scope: 'col' }, say(key))))),
      h('tbody', {}, stages.map((each) => h('tr', {}, h('th', { scope: 'row' }, say(`stage.${each.stage}`)), h('td', {}, toe(each.total_toe_mm)), h('td', {}, moment(each.at)))))));
}

// compare lays the rectified views of two stages side by side, and over each other
// with a slider between them.
function compare(id, stages) {
  if (stages.length < 2) return null;
  const options = stages.map((each) => [String(each.number), say(`stage.${each.stage}`)]);
  const before = select('before', options, options[0][0]);
  const after = select('after', options, options.at(-1)[0]);
  const slider = h('input', { type: 'range', id: 'slider', min: 0, max: 100, step: 1, value: 50 });
  const pictures = h('div', { class: 'pair' });
  const over = h('div', { class: 'over' });
  const named = (list) => stages.find((each) => String(each.number) === list.value);
  const image = (list) => h('img', { src: `/api/jobs/${id}/stages/${list.value}/top`, alt: say('compare.alt', { stage: say(`stage.${named(list).stage}`), toe: toe(named(list).total_toe_mm) }) });
  const move = () => {
    over.style.setProperty('--cut', `${slider.value}%`);
    slider.setAttribute('aria-valuetext', say('compare.value', { percent: slider.value }));
  };
  const draw = () => {
    const one = (list, key) => h('figure', {}, image(list), h('figcaption', {}, h('strong', {}, say(key)), ` ${toe(named(list).total_toe_mm)}`));
    pictures.replaceChildren(one(before, 'compare.before'), one(after, 'compare.after'));
    over.replaceChildren(image(after), h('div', { class: 'cut' }, image(before)));
    move();
  };
  slider.addEventListener('input', move);
  before.addEventListener('change', draw);
  after.addEventListener('change', draw);
  draw();
  return h('section', { 'aria-labelledby': 'compare' }, h('h2', { id: 'compare' }, say('compare.title')),
    h('div', { class: 'row' }, h('div', { class: 'field' }, h('label', { for: 'before' }, say('compare.before')), before), h('div', { class: 'field' }, h('label', { for: 'after' }, say('compare.after')), after)),
    pictures, h('div', { class: 'field' }, h('label', { for: 'slider' }, say('compare.slider')), slider), over);
}
