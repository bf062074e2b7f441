// Acuities as they are read, in the clinic's notation. Sends "noted" with the
// whole list.
import {css, html, look, nothing, Part} from '../core/part.js';
import {t} from '../core/words.js';
import {prose} from './field.js';

const THROUGH = ['nothing', 'habitual', 'working', 'final', 'pinhole'];
const LINES = {
    snellen: ['6/60', '6/36', '6/24', '6/18', '6/12', '6/9', '6/7.5', '6/6',
        '6/5'],
    decimal: ['0.1', '0.2', '0.3', '0.4', '0.5', '0.63', '0.8', '1.0', '1.25'],
    logmar: ['1.0', '0.7', '0.5', '0.4', '0.3', '0.2', '0.1', '0.0', '-0.1'],
};
const KEPT = 'lensclerk.notation';

class Acuity extends Part {
    static properties = {
        acuities: {attribute: false}, fixed: {type: Boolean},
        notation: {state: true}, through: {state: true}, eye: {state: true},
    };

    static styles = [look, css`
        .top {
            display: grid;
            grid-template-columns: repeat(auto-fit, minmax(9rem, 1fr));
            gap: 0.5rem;
            margin-bottom: 0.5rem;
        }
        .lines {
            direction: ltr;
        }
        form {
            display: flex;
            gap: 0.4rem;
        }
        form input {
            width: 8rem;
        }
        td, th {
            padding: 0.15rem 0.7rem 0.15rem 0;
            text-align: start;
        }
    `];

    notation = localStorage.getItem(KEPT) || 'snellen';
    through = 'working';
    eye = 'right';

    note(text) {
        if (!text.trim()) return;
        const one = {eye: this.eye, distance: 'far', with: this.through,
            notation: this.notation, text: text.trim()};
        const others = (this.acuities || []).filter(a => a.eye !== one.eye
            || a.distance !== one.distance || a.with !== one.with);
        this.dispatchEvent(new CustomEvent('noted',
            {detail: [...others, one]}));
        const order = ['right', 'left', 'both'];
        this.eye = order[Math.min(order.indexOf(this.eye) + 1, 2)];
    }

    choice(name, values, family) {
        return html`<label>${t(`acuity.${name}`)}
            <select @change=${e => {
                this[name] = e.target.value;
                if (name === 'notation')
                    localStorage.setItem(KEPT, this.notation);
            }}>${values.map(v => html`<option value=${v} ?selected=${
                v === this[name]}>${t(`${family}.${v}`)}</option>`)}
            </select></label>`;
    }

    table() {
        const rows = THROUGH.filter(w => (this.acuities || []).some(
            a => a.with === w && a.distance === 'far'));
        if (!rows.length) return nothing;
        const at = (w, eye) => this.acuities.find(a => a.with === w
            && a.eye === eye && a.distance === 'far')?.text ?? '';
        return html`<table><tr><td></td>${['right', 'left', 'both'].map(
            e => html`<th scope="col">${t(`side.${e}.mark`)}</th>`)}</tr>
            ${rows.map(w => html`<tr><th scope="row">${t(`through.${w}`)}</th>
                ${['right', 'left', 'both'].map(e => html`<td>
                    <bdi>${prose(at(w, e))}</bdi></td>`)}</tr>`)}</table>`;
    }

    render() {
        return html`
            <div class="top">${this.choice('eye', ['right', 'left', 'both'],
                'side')}${this.choice('through', THROUGH, 'through')}
                ${this.choice('notation', Object.keys(LINES), 'notation')}</div>
            ${this.fixed ? nothing : html`<div class="row lines" role="group"
                aria-label=${t('acuity.line')}>${LINES[this.notation].map(
                    line => html`<button @click=${() => this.note(line)}>
                        ${prose(line)}</button>`)}
                <form @submit=${e => {
                    e.preventDefault();
                    this.note(e.target.other.value);
                    e.target.reset();
                }}><input name="other" maxlength="40" aria-label=${
                    t('acuity.other')} placeholder=${t('acuity.other')}>
                    <button>${t('acuity.note')}</button></form></div>`}
            ${this.table()}`;
    }
}

customElements.define('lens-acuity', Acuity);
