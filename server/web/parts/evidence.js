// What the refinement may start from: glasses, today's objective, the last
// final; and the cornea beside them. Sends "start" with an entry's id.
import {css, html, look, nothing, Part} from '../core/part.js';
import {agoText} from '../core/dates.js';
import {axisText, figure, signed, spoken} from '../core/power.js';
import {t, word} from '../core/words.js';
import {cautionList, eyeTold, told} from './field.js';
import {pdText} from './reading-view.js';

const STARTS = ['autorefraction', 'retinoscopy', 'subjective', 'final'];

const DAY_MS = 86400000;
const SHOWN = 2; // cautions of one entry; the rest opens

// The newest of each kind, of one day in each condition; they are marks on
// ladder and dial, too.
export function evidenceOf(timeline, habitual) {
    const found = [];
    if (habitual) found.push({...habitual, what: 'habitual'});
    for (const kind of STARTS) {
        const seen = new Map();
        for (const item of timeline || []) {
            const key = item.condition_key ?? item.kind;
            if (item.kind !== kind || seen.has(key)) continue;
            if (!item.right && !item.left) continue;
            const [first] = seen.values();
            if (first && new Date(first) - new Date(item.at) > DAY_MS) break;
            seen.set(key, item.at);
            found.push({...item, what: kind});
        }
    }
    const cornea = (timeline || []).find(i => i.kind === 'keratometry');
    return {starts: found, cornea};
}

export function letterOf(what) {
    return t(`mark.${what}`);
}

class Evidence extends Part {
    static properties = {
        evidence: {attribute: false}, source: {}, fixed: {type: Boolean},
    };

    static styles = [look, css`
        .all {
            display: grid;
            grid-template-columns: repeat(auto-fit, minmax(11.2rem, 1fr));
            gap: 0.4rem;
            align-items: start;
        }
        button, .cornea {
            display: block;
            text-align: start;
            padding: 0.3rem 0.5rem;
            font-size: 0.88rem;
            line-height: 1.35;
            width: 100%;
            min-width: 0;
        }
        .cornea {
            border: 1px dotted var(--edge);
            border-radius: 0.4rem;
        }
        .eye {
            display: block;
            direction: ltr;
            white-space: normal;
        }
        :dir(rtl) .eye {
            text-align: right;
        }
        .letter {
            border: 1px solid var(--edge);
            border-radius: 0.2rem;
            padding: 0 0.25rem;
        }
    `];

    eye(entry, side) {
        const eye = entry[side];
        return html`<span class="eye figure"><span class="soft">
            ${t(`side.${side}.mark`)}</span>
            ${eyeTold(eye)}
            ${eye?.acuity ? html`<span class="soft">${eye.acuity.text}</span>`
                : nothing}</span>`;
    }

    start(entry) {
        const drug = entry.condition?.cycloplegic;
        const used = entry.id === this.source;
        return html`<div><button ?disabled=${this.fixed}
            aria-pressed=${used ? 'true' : 'false'}
            @click=${() => this.dispatchEvent(new CustomEvent('start',
                {detail: entry.id}))}>
            <span class="letter" aria-hidden="true">${letterOf(entry.what)}
            </span> <strong>${t(`evidence.${entry.what}`)}</strong>
            <span class="soft">${agoText(entry.at)}
                ${drug ? t('reading.cycloplegic',
                    {drug: entry.condition.drug || ''}) : nothing}
                ${entry.pair?.label ?? (typeof entry.pair === 'string'
                    ? entry.pair : '')}</span>
            ${['right', 'left'].map(side => this.eye(entry, side))}
            <span class="hidden">${t('evidence.start')}</span></button>
            ${this.doubts(cautionList(entry.cautions))}</div>`;
    }

    doubts(list) {
        const more = list.length - SHOWN;
        return more <= 0 ? list : html`${list.slice(0, SHOWN)}<details>
            <summary>${t('evidence.more', {n: more})}</summary>
            ${list.slice(SHOWN)}</details>`;
    }

    cornea(entry) {
        return html`<div class="cornea"><span class="letter"
            aria-hidden="true">${t('mark.cornea')}</span>
            <strong>${word('kind', 'keratometry')}</strong> <span class="soft">${agoText(entry.at)}</span>
            ${['right', 'left'].map(side => {
                const a = entry[side]?.astigmatism;
                const mean = entry[side]?.mean_power;
                return html`<span class="eye figure"><span class="soft">
                    ${t(`side.${side}.mark`)}</span> ${mean
                    ? `${figure(mean)} D` : t('power.absent')}
                    ${a?.cylinder ? html`<span class="soft">${told(
                        t('evidence.corneal', {axis: axisText(a.axis),
                            cylinder: signed(a.cylinder)}),
                        t('evidence.corneal', {axis: a.axis,
                            cylinder: spoken(a.cylinder)}))}</span>`
                        : nothing}
                </span>`;
            })}</div>`;
    }

    render() {
        const {starts = [], cornea} = this.evidence || {};
        const pd = starts.find(e => e.pd_mm)?.pd_mm;
        return html`<div class="all" role="group"
            aria-label=${t('evidence.title')}>
            ${starts.map(e => this.start(e))}
            ${cornea ? this.cornea(cornea) : nothing}
            ${starts.length || cornea ? nothing : html`<p class="soft">
                ${t('evidence.none')}</p>`}</div>
            ${pd ? html`<p class="soft figure">${pdText(pd)}</p>` : nothing}`;
    }
}

customElements.define('lens-evidence', Evidence);
