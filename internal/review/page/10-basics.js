const $ = (id) => document.getElementById(id);
const data = JSON.parse($('data').textContent);
const served = document.documentElement.dataset.mode === 'served';
const NS = 'http://www.w3.org/2000/svg';
const classes = data.classes;
const classOf = (id) => classes.find((c) => c.id === id) || { id: id, name: id, short: id, line: 'line' };

// h and s build elements from text only; nothing from a record is ever parsed as markup.
function fill(el, props, kids) {
  for (const [k, v] of Object.entries(props || {})) {
    if (v === null || v === undefined || v === false) continue;
    if (k.startsWith('on')) el.addEventListener(k.slice(2), v);
    else el.setAttribute(k, v === true ? '' : String(v));
  }
  el.append(...kids.filter((k) => k !== null && k !== undefined));
  return el;
}
const h = (tag, props, ...kids) => fill(document.createElement(tag), props, kids);
const s = (tag, props, ...kids) => fill(document.createElementNS(NS, tag), props, kids);
const button = (text, on, props, key) => h('button', { type: 'button', onclick: on, ...props }, text, key ? ' ' : null, key ? h('kbd', {}, key) : null);

function remember(key, value) {
  try {
    if (value === undefined) return localStorage.getItem(key);
    if (value === null) localStorage.removeItem(key); else localStorage.setItem(key, value);
  } catch (e) { /* storage can be off; decisions then last as long as the page, and it says so */
    if (value !== undefined && key.startsWith('shadowgap-decisions')) warn('This browser keeps nothing for this page: download decisions.json before you close it.');
  }
  return null;
}
function say(text) { $('say').textContent = ''; setTimeout(() => { $('say').textContent = text; }, 30); }
function warn(text) { $('banner').textContent = text; $('banner').hidden = !text; }
const noPicture = 'No picture of this capture is to be had: its file is not where it was, or the run kept none. Put it back, or run again with --copies.';
