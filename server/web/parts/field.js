// A labelled input with what is wrong about it beside it.
import {html, nothing} from '../core/part.js';
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

const MINUS = /(?<![\w.])-(?=\d)/g; // not the dash of a date

// A sentence of the service: to be read with a minus, to be heard with the
// word.
export function prose(text) {
    if (text.search(MINUS) < 0) return text;
    return html`<span aria-hidden="true">${text.replace(MINUS, '\u2212')}</span>
        <span class="hidden">${text.replace(MINUS, `${t('word.minus')} `)}
        </span>`;
}

export function cautionList(cautions, eye) {
    const shown = (cautions || []).filter(
        c => eye === undefined || (c.eye ?? null) === eye);
    return shown.map(c => html`<p class="caution">
        <span class="hidden">${t('word.caution')}: </span>${prose(c.text)}</p>`);
}
