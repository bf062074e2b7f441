// A labelled input with what is wrong about it beside it.
import {html, nothing} from '../core/part.js';
import {eyeText} from '../core/power.js';
import {t} from '../core/words.js';

let next = 0;

// options: value, type, fault, hint, required, list of choices, more
export function field(name, label, options = {}) {
    const {value = '', type = 'text', fault, hint, required, choices} = options;
    const id = `f${next++}`;
    const noted = fault || hint ? `${id}-note` : nothing;
    const input = choices
        ? html`<select name=${name} aria-describedby=${noted}>
            ${choices.map(([v, text]) => html`<option value=${v}
                ?selected=${v === value}>${text}</option>`)}</select>`
        : html`<input name=${name} type=${type} .value=${value}
            ?required=${required} autocomplete="off" aria-describedby=${noted}
            maxlength=${options.most ?? 200} inputmode=${options.keys ?? nothing}
            aria-invalid=${fault ? 'true' : nothing}>`;
    return html`<div><label>${label}${input}</label>
        ${fault ? html`<p id=${noted} class="fault">${fault}</p>`
            : hint ? html`<p id=${noted} class="soft">${hint}</p>` : nothing}
    </div>`;
}

// The form's texts without those left empty.
export function filled(form) {
    const sent = {};
    for (const [name, value] of new FormData(form))
        if (value.trim()) sent[name] = value.trim();
    return sent;
}

export function faultNote(writer) {
    if (!writer.fault) return nothing;
    const {text, errors} = writer.fault;
    return html`<div class="fault" role="alert"><p>${text}</p>
        ${errors.length > 1 ? html`<ul>${errors.map(e =>
            html`<li>${t('fault.at', {place: e.pointer, text: e.detail})}</li>`)}
        </ul>` : nothing}</div>`;
}

// A figure to be read and the words to be heard for it.
export function told(text, heard) {
    return html`<span aria-hidden="true">${text}</span><span
        class="hidden">${heard}</span>`;
}

export function eyeTold(eye) {
    return told(eyeText(eye), eyeText(eye, true));
}

const MINUS = /(?<![\w.])-(?=\d)/g; // not the dash of a date

// A sentence of the service: to be read with a minus, to be heard with the
// word.
export function prose(text) {
    if (text.search(MINUS) < 0) return text;
    return told(text.replace(MINUS, '\u2212'),
        text.replace(MINUS, `${t('word.minus')} `));
}

function cautionLine(text, sides) {
    return html`<p class="caution">
        <span class="hidden">${t('word.caution')}: </span>${sides.length
        ? html`<strong>${sides.map(side => t(`side.${side}.mark`)).join(' ')}
            </strong> ` : nothing}${prose(text)}</p>`;
}

// Those about an eye (null: about none in particular), or all: then with the
// eyes that a sentence is about, once for both.
export function cautionList(cautions, eye) {
    const sides = new Map();
    for (const c of cautions || []) {
        if (eye !== undefined && (c.eye ?? null) !== eye) continue;
        const of = sides.get(c.text) ?? [];
        const marked = eye === undefined && ['right', 'left'].includes(c.eye);
        sides.set(c.text, marked ? [...of, c.eye] : of);
    }
    return [...sides].map(([text, of]) => cautionLine(text, of));
}
