// A whole power typed in, for one eye; what is wrong is told at once. Sends
// "typed" with {sphere, cylinder, axis}.
import {css, html, look, nothing, Part} from '../core/part.js';
import {axisText, parsed, signed} from '../core/power.js';
import {t} from '../core/words.js';

class TypeIn extends Part {
    static properties = {
        eye: {attribute: false}, name: {}, fault: {state: true},
        open: {state: true},
    };

    static styles = [look, css`
        form {
            display: grid;
            grid-template-columns: repeat(3, minmax(0, 1fr));
            gap: 0.4rem;
            direction: ltr;
        }
        .across {
            grid-column: 1 / -1;
        }
    `];

    submit(e) {
        e.preventDefault();
        const form = new FormData(e.target);
        const sphere = parsed(form.get('sphere'));
        const given = form.get('cylinder').trim();
        const cylinder = given ? parsed(given) : 0;
        const axis = Number(form.get('axis'));
        const unsigned = [form.get('sphere'), given].some(
            x => /^\s*[.,\d]/.test(x) && parsed(x) !== 0);
        // A power without its sign is a guess: nobody may make it.
        this.fault = unsigned ? t('typed.sign')
            : Number.isNaN(sphere) ? t('typed.sphere')
                : Number.isNaN(cylinder) ? t('typed.cylinder')
                    : cylinder && !(Number.isInteger(axis) && axis >= 1
                        && axis <= 180) ? t('typed.axis') : null;
        if (this.fault) return;
        this.open = false;
        this.dispatchEvent(new CustomEvent('typed', {detail:
            {sphere, cylinder, axis: cylinder ? axis : null}, bubbles: true,
        composed: true}));
    }

    input(name, value) {
        return html`<label>${t(`rx.${name}`)}<input name=${name} .value=${value}
            autocomplete="off" aria-label=${`${this.name} ${t(`rx.${name}`)}`}>
        </label>`;
    }

    render() {
        const eye = this.eye || {};
        if (!this.open) return html`<button class="plain" aria-label=${t(
            'typed.open-for', {name: this.name})} @click=${() => {
            this.open = true;
            this.updateComplete.then(() => this.renderRoot.querySelector(
                'input').select());
        }}>${t('typed.open')}</button>`;
        return html`<form @submit=${this.submit} @keydown=${e => {
            if (e.key === 'Escape') this.open = false;
        }}>
            ${this.input('sphere', typeof eye.sphere === 'number'
                ? signed(eye.sphere) : '')}
            ${this.input('cylinder', eye.cylinder ? signed(eye.cylinder) : '')}
            ${this.input('axis', eye.axis ? axisText(eye.axis) : '')}
            ${this.fault ? html`<p class="fault across" role="alert">
                ${this.fault}</p>` : nothing}
            <div class="row across"><button class="main">${t('typed.take')}
            </button><button type="button" @click=${() => {
                this.open = false;
            }}>${t('word.back')}</button></div></form>`;
    }
}

customElements.define('lens-type-in', TypeIn);
