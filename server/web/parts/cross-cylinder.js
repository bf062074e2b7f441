// The cross-cylinder assistant: answers in, the next presentation and the
// region that the answers leave out. The trial lens follows by steps of the
// exam; the estimate is taken by a person or left.
import {ask} from '../core/api.js';
import {css, html, look, nothing, Part} from '../core/part.js';
import {axisText, figure} from '../core/power.js';
import {Writer} from '../core/write.js';
import {t} from '../core/words.js';
import {cautionList, faultNote, prose} from './field.js';

const ANSWERS = ['first', 'second', 'same'];

class CrossCylinder extends Part {
    static properties = {
        side: {}, eye: {attribute: false}, given: {state: true},
        found: {state: true},
    };

    static styles = [look, css`
        .answers button {
            flex: 1;
            font-size: 1.1rem;
            min-height: 3.4rem;
        }
        .estimate {
            font-size: 1.1rem;
        }
    `];

    writer = new Writer(this);
    given = [];

    willUpdate(changed) {
        if (!changed.has('side')) return;
        this.given = [];
        this.found = null;
        if (this.eye) this.ask();
    }

    lens({sphere, cylinder, axis}) {
        return cylinder ? {sphere, cylinder, axis} : {sphere};
    }

    async ask() {
        if (!this.given.length) this.start = this.lens(this.eye);
        const done = await this.writer.run(() => ask('POST',
            '/v1/optics/cross-cylinder',
            {body: {start: this.start, presentations: this.given}}));
        if (!done) return;
        this.found = done.body;
        this.tell('region', {side: this.side, axis: done.body.axis,
            error: done.body.axis_error, least: done.body.cylinder_least,
            most: done.body.cylinder_most, eye: this.side});
    }

    tell(kind, detail) {
        this.dispatchEvent(new CustomEvent(kind, {detail, bubbles: true,
            composed: true}));
    }

    async answer(word) {
        const {next} = this.found;
        this.given = [...this.given, {trial: this.lens(next.trial),
            size: next.size, minus_axis: next.minus_axis,
            at_once: next.at_once, answer: word}];
        await this.ask();
        if (this.found && !this.found.enough) this.place(this.found.next.trial);
    }

    // The working refraction becomes the lens that is shown next.
    place(lens) {
        this.tell('place', {side: this.side, lens});
    }

    async take() {
        const {sphere, cylinder, axis} = this.found;
        const done = await this.writer.run(() => ask('POST',
            '/v1/optics/nearest-orderable',
            {body: {sphere, cylinder, axis, step: 0.25}}));
        if (done) this.place(done.body);
    }

    back() {
        this.given = this.given.slice(0, -1);
        this.ask();
    }

    render() {
        const {found} = this;
        if (!this.eye) return html`<p class="soft">${t('jcc.no-power')}</p>`;
        if (!found) return html`${faultNote(this.writer)}
            <p class="soft">${t('word.loading')}</p>`;
        const {next} = found, other = (next.minus_axis + 90) % 180 || 180;
        return html`
            <p>${t(`jcc.phase.${next.phase}`)} ${prose(t('jcc.show', {
                eye: t(`side.${this.side}`), size: figure(next.size),
                trial: next.trial.cylinder ? `${figure(next.trial.cylinder)
                    .replace('\u2212', '-')} × ${
                    axisText(Math.round(next.trial.axis))}` : t('dial.none'),
                first: axisText(Math.round(next.minus_axis)),
                second: axisText(Math.round(other))}))}</p>
            <div class="row answers" role="group" aria-label=${t('jcc.which')}>
                ${ANSWERS.map(word => html`<button ?disabled=${this.writer.busy}
                    @click=${() => this.answer(word)}>${t(`jcc.${word}`)}
                </button>`)}</div>
            <p class="estimate" role="status">${prose(t('jcc.estimate', {
                words: found.words, n: this.given.length}))}
                ${found.enough ? html`<strong>${t('jcc.enough')}</strong>`
                    : nothing}</p>
            ${cautionList(found.cautions.map(text => ({text})))}
            ${faultNote(this.writer)}
            <div class="row">
                <button class=${found.enough ? 'main' : ''} ?disabled=${
                    !this.given.length} @click=${this.take}>${t('jcc.take')}
                </button>
                <button ?disabled=${!this.given.length} @click=${this.back}>
                    ${t('jcc.back')}</button>
            </div>`;
    }
}

customElements.define('lens-cross-cylinder', CrossCylinder);
