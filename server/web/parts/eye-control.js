// One eye of the refinement: ladder, dial, what is typed in. Sends "step"
// with {side, field, to, more}.
import './half-dial.js';
import './rung-ladder.js';
import './type-in.js';
import {css, html, look, nothing, Part} from '../core/part.js';
import {eyeText} from '../core/power.js';
import {t} from '../core/words.js';
import {letterOf} from './evidence.js';

class EyeControl extends Part {
    static properties = {
        side: {}, eye: {attribute: false}, evidence: {attribute: false},
        steps: {attribute: false}, hold: {type: Boolean},
        region: {attribute: false}, fixed: {type: Boolean},
        acuity: {},
    };

    static styles = [look, css`
        .both {
            display: grid;
            grid-template-columns: 8rem minmax(0, 1fr);
            gap: 0.6rem;
            direction: ltr;
            align-items: start;
        }
        .side {
            display: grid;
            gap: 0.4rem;
            min-width: 0;
        }
        @media (max-width: 26rem) {
            .both {
                grid-template-columns: minmax(0, 1fr);
                justify-items: center;
            }
        }
    `];

    send(field, to, more = {}) {
        this.dispatchEvent(new CustomEvent('step',
            {detail: {side: this.side, field, to, more}, bubbles: true,
                composed: true}));
    }

    // A first cylinder takes the axis that stands in the evidence.
    cylinder(to) {
        const known = (this.evidence?.starts || []).map(
            e => e[this.side]?.axis).find(Boolean);
        const first = !this.eye?.cylinder && to !== 0;
        this.send('cylinder', to, {
            ...(this.hold ? {hold_equivalent: true} : {}),
            ...(first ? {axis: Math.round(known ?? 180)} : {})});
    }

    get marks() {
        return (this.evidence?.starts || []).map(e => ({
            letter: letterOf(e.what), power: e[this.side]?.sphere,
            cylinder: e[this.side]?.cylinder, axis: e[this.side]?.axis}));
    }

    get needles() {
        const cornea = this.evidence?.cornea?.[this.side]?.astigmatism;
        return [...this.marks.filter(m => m.cylinder), ...(cornea?.cylinder
            ? [{letter: t('mark.cornea'), cylinder: cornea.cylinder,
                axis: cornea.axis, dotted: true}] : [])];
    }

    render() {
        const {eye, side} = this, name = t(`side.${side}`);
        if (eye?.lens && eye.lens !== 'power') return html`<p>${eyeText(eye)}
            </p>`;
        return html`<div class="both">
            <lens-rung-ladder .value=${eye?.sphere} .size=${this.steps.sphere}
                .marks=${this.marks} ?fixed=${this.fixed}
                name=${t('ladder.name', {name})}
                @to=${e => this.send('sphere', e.detail)}></lens-rung-ladder>
            <div class="side">
                <lens-half-dial .cylinder=${eye?.cylinder} .axis=${eye?.axis}
                    .size=${this.steps.cylinder} .turn=${this.steps.axis}
                    .needles=${this.needles} .region=${this.region}
                    ?fixed=${this.fixed || !eye} name=${name}
                    @axis=${e => this.send('axis', e.detail)}
                    @cylinder=${e => this.cylinder(e.detail)}></lens-half-dial>
                ${this.acuity ? html`<p>${t('word.acuity')}
                    <bdi>${this.acuity}</bdi></p>` : nothing}
                ${this.fixed ? nothing : html`<lens-type-in .eye=${eye}
                    name=${name}></lens-type-in>`}
            </div></div>`;
    }
}

customElements.define('lens-eye-control', EyeControl);
