// What the working refraction changes against the glasses worn, in words.
import {css, html, look, nothing, Part} from '../core/part.js';
import {figure} from '../core/power.js';
import {Watch} from '../core/store.js';
import {t} from '../core/words.js';
import {cautionList, prose} from './field.js';

class Changes extends Part {
    static properties = {exam: {}, habitual: {}, waiting: {type: Boolean}};

    static styles = [look, css`
        ul {
            margin: 0.2rem 0;
            padding-inline-start: 1.1rem;
        }
        .same {
            color: var(--soft);
        }
        section + section {
            margin-top: 0.5rem;
        }
    `];

    delta = new Watch(this, () => this.exam && this.habitual
        ? `/v1/exams/${this.exam}/delta` : '');

    side(delta, side) {
        const eye = delta[side];
        if (!eye) return nothing;
        const same = eye.within_noise;
        const acuity = eye.predicted_acuity_with_habitual;
        return html`<section class=${same ? 'same' : ''}>
            <h3>${t(`side.${side}.mark`)} ${t(`side.${side}`)}${same
                ? t('changes.same') : nothing}</h3>
            <ul>${eye.words.map(w => html`<li>${prose(w)}</li>`)}</ul>
            ${acuity ? html`<p class="soft">${t('changes.acuity',
                {decimal: figure(acuity.decimal)})}</p>` : nothing}
            ${cautionList(eye.cautions)}</section>`;
    }

    render() {
        const delta = this.delta.value;
        if (!this.exam) return html`<h2>${t('changes.title')}</h2>
            <p class="soft">${t('changes.not-begun')}</p>`;
        if (!this.habitual) return html`<h2>${t('changes.title')}</h2>
            <p class="soft">${t('changes.no-habitual')}</p>`;
        const both = delta?.both || {};
        return html`<h2>${t('changes.title')}</h2>
            ${this.waiting ? html`<p class="soft">${t('changes.waiting')}</p>`
                : nothing}
            ${delta ? html`${this.side(delta, 'right')}
                ${this.side(delta, 'left')}
                ${both.image_size_difference_percent?.final ? html`<p
                    class="soft">${t('changes.size', {percent: figure(Math.abs(
                        both.image_size_difference_percent.final), 1)})}</p>`
                    : nothing}
                ${cautionList(delta.cautions, null)}` : html`<p class="soft">
                ${this.delta.fault?.message ?? t('word.loading')}</p>`}`;
    }
}

customElements.define('lens-changes', Changes);
