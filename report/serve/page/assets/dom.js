// Elements. Text gets into the page as text nodes only, never as markup.

// h makes an element: "on…" are listeners, true is an empty attribute, false and
// null are left out; children are nodes, texts, lists of them, or nothing.
export function h(tag, attributes = {}, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

// s makes an SVG element.
export function s(tag, attributes = {}, ...children) {
  return fill(document.createElementNS('http://www.w3.org/2000/svg', tag), attributes, children);
}

function fill(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value == null) continue;
    if (name.startsWith('on')) element.addEventListener(name.slice(2), value);
    else if (name === 'value') element.value = value;
    else element.setAttribute(name, value === true ? '' : value);
  }
  element.append(...children.flat(Infinity).filter((child) => child != null && child !== false));
  return element;
}

// swap puts a new element in an old one's place and keeps the focus where it was,
// on the element with the same id, and what was opened open.
export function swap(old, next) {
  if (old.isEqualNode(next)) return old;
  const focused = old.contains(document.activeElement) && document.activeElement.id;
  for (const opened of old.querySelectorAll('details[open][id]')) {
    next.querySelector(`#${CSS.escape(opened.id)}`)?.setAttribute('open', '');
  }
  old.replaceWith(next);
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
  return next;
}

// announce lets a screen reader say something without moving the focus.
export function announce(text) {
  const region = document.getElementById('said');
  if (region) region.textContent = text;
}

// field is a labelled control with a hint and a place for its error.
export function field(label, control, hint = '') {
  const id = control.id;
  const error = h('p', { class: 'error', id: `${id}-error` });
  control.setAttribute('aria-describedby', `${id}-error${hint ? ` ${id}-hint` : ''}`);
  return h('div', { class: 'field' },
    h('label', { for: id }, label), hint && h('p', { class: 'hint', id: `${id}-hint` }, hint), control, error);
}

// fault shows what is wrong with a control ('' for nothing), and says whether.
export function fault(control, text) {
  control.setAttribute('aria-invalid', text ? 'true' : 'false');
  document.getElementById(`${control.id}-error`).textContent = text;
  return Boolean(text);
}

// guarded is a form that says at its end why it could not be sent.
export function guarded(send, ...parts) {
  const failed = h('p', { class: 'error', role: 'alert' });
  const form = h('form', { novalidate: true }, ...parts, failed);
  form.addEventListener('submit', async (event) => {
    event.preventDefault();
    failed.textContent = '';
    try { await send(event); } catch (problem) { failed.textContent = `${problem.message} ${problem.remedy ?? ''}`.trim(); }
  });
  return form;
}

export function select(id, options, value) {
  const list = h('select', { id }, options.map(([code, text]) => h('option', { value: code }, text)));
  list.value = value ?? '';
  return list;
}
