// Search as one types, from the second letter; registering is offered last.
// Sends "chosen" with the patient.
import {ask} from '../core/api.js';
import {css, html, look, nothing, Part} from '../core/part.js';
import {faultOf, Writer} from '../core/write.js';
import {t} from '../core/words.js';
import {faultNote, field, filled, prose} from './field.js';
import {nameText, personLine} from './person.js';

const WAIT_MS = 150;

class FindPerson extends Part {
    static properties = {
        found: {state: true}, fault: {state: true}, form: {state: true},
        doubt: {state: true},
    };

    static styles = [look, css`
        ul {
            list-style: none;
            margin: 0.4rem 0 0;
            padding: 0;
            display: grid;
            gap: 0.3rem;
        }
        li button {
            width: 100%;
            justify-content: flex-start;
            text-align: start;
            flex-wrap: wrap;
        }
        form {
            display: grid;
            gap: 0.6rem;
            margin-top: 0.6rem;
        }
        .two {
            display: grid;
            gap: 0.6rem;
            grid-template-columns: repeat(auto-fit, minmax(11rem, 1fr));
        }
    `];

    writer = new Writer(this);
    turn = 0;
    text = '';

    // Looks for what another part says of a person.
    seek(text) {
        const input = this.renderRoot.querySelector('[name=q]');
        input.value = text;
        input.focus();
        this.typed(text, 0);
    }

    typed(text, wait = WAIT_MS) {
        this.text = text.trim();
        clearTimeout(this.timer);
        this.form = null;
        if ([...this.text].length < 2) {
            this.found = null;
            return;
        }
        this.timer = setTimeout(() => this.look(), wait);
    }

    async look() {
        const turn = ++this.turn;
        const born = this.text.match(/\b\d{4}-\d\d-\d\d\b/)?.[0];
        const q = this.text.replace(born ?? '', '').trim();
        const query = new URLSearchParams({limit: '8'});
        if (q) query.set('q', q);
        if (born) query.set('born', born);
        try {
            const {body} = await ask('GET', `/v1/patients?${query}`);
            if (turn !== this.turn) return; // a later one is on its way
            this.found = body.items;
            this.fault = null;
        } catch (e) {
            this.fault = faultOf(e).text;
        }
    }

    choose(person) {
        this.found = null;
        this.form = null;
        this.doubt = null;
        this.text = '';
        this.renderRoot.querySelector('[name=q]').value = '';
        this.dispatchEvent(new CustomEvent('chosen', {detail: person}));
    }

    keys(e) {
        if (e.key !== 'ArrowDown' && e.key !== 'ArrowUp') return;
        const all = [this.renderRoot.querySelector('[name=q]'),
            ...this.renderRoot.querySelectorAll('li button')];
        const at = all.indexOf(this.renderRoot.activeElement);
        all[at + (e.key === 'ArrowDown' ? 1 : -1)]?.focus();
        e.preventDefault();
    }

    openForm() {
        const [family = '', ...given] = this.text.split(/[,\s]+/);
        this.form = {family, given: given.join(' ')};
        this.updateComplete.then(() => this.renderRoot.querySelector(
            'form [name=family]').focus());
    }

    async register(e) {
        e.preventDefault();
        const sent = filled(e.target);
        this.form = sent;
        const done = await this.writer.post('/v1/patients', sent);
        if (!done) return;
        this.choose(done.body);
        if (done.body.cautions?.length) this.doubt = done.body;
    }

    formView() {
        const w = this.writer, f = this.form;
        const one = (name, more) => field(name, t(`person.${name}`), {
            value: f[name] || '', fault: w.about(`/${name}`), ...more});
        return html`<form class="sheet" @submit=${this.register} novalidate>
            <h3>${t('person.register')}</h3>
            <div class="two">${one('family', {most: 120})}
                ${one('given', {most: 120, hint: t('person.one-name')})}
                ${one('born', {hint: t('person.born-hint'), keys: 'numeric'})}
                ${one('record_number', {most: 40})}
                ${one('telephone', {most: 40, keys: 'tel'})}
                ${one('sex', {choices: ['', 'female', 'male', 'other',
                    'unknown'].map(v => [v, v ? t(`sex.${v}`) : '—'])})}</div>
            ${faultNote(w)}
            <div class="row"><button class="main" ?disabled=${w.busy}>
                ${t('person.register')}</button>
                <button type="button" @click=${() => {
                    this.form = null;
                }}>${t('word.back')}</button></div>
        </form>`;
    }

    render() {
        return html`<div @keydown=${this.keys}>
            <label>${t('person.find')}
                <input name="q" type="search" autocomplete="off"
                    spellcheck="false" @input=${e => this.typed(e.target.value)}>
            </label>
            <p class="hidden" role="status">${this.found
                ? t('person.found', {n: this.found.length}) : ''}</p>
            ${this.fault ? html`<p class="fault">${this.fault}</p>` : nothing}
            ${this.found && !this.form ? html`<ul>
                ${this.found.map(p => html`<li><button @click=${() =>
                    this.choose(p)}>${personLine(p)}</button></li>`)}
                <li><button class="plain" @click=${this.openForm}>
                    ${t('person.new')}</button></li></ul>` : nothing}
            ${this.form ? this.formView() : nothing}
            ${this.doubt ? html`<div class="sheet">
                ${this.doubt.cautions.map(c => html`<p class="caution">
                    ${prose(c.text)} <button @click=${() =>
                        this.choose({id: c.patient})}>${t('person.look-other')}
                    </button></p>`)}
                <p class="soft">${t('person.registered',
                    {name: nameText(this.doubt)})}</p></div>` : nothing}
        </div>`;
    }
}

customElements.define('lens-find-person', FindPerson);
