// What an instrument said, normalized: a panel for each eye, its cautions.
import './eye-panel.js';
import {css, html, look, nothing, Part} from '../core/part.js';
import {dayText, timeText} from '../core/dates.js';
import {axisText, figure, signed, spoken} from '../core/power.js';
import {t, word} from '../core/words.js';
import {eyePairStyle} from './eye-panel.js';
import {cautionList, eyeTold, told} from './field.js';

function meridian(name, m) {
    return m ? html`<p class="figure">${t(`cornea.${name}`)}
        ${figure(m.radius_mm)} mm · ${figure(m.power)} D · ${axisText(m.axis)}°
    </p>` : nothing;
}

function eyeBody(eye) {
    if (!eye) return html`<p class="soft">${t('power.absent')}</p>`;
    const cornea = eye.flat || eye.steep;
    return html`
        ${cornea ? html`${meridian('flat', eye.flat)}
            ${meridian('steep', eye.steep)}` : nothing}
        ${typeof eye.sphere === 'number' || eye.lens ? html`
            <p class="figure power">${eyeTold(eye)}</p>`
            : nothing}
        ${typeof eye.m === 'number' ? html`<p class="soft">
            <span class="figure">M ${told(signed(eye.m), spoken(eye.m))}</span>
            ${eye.spread ? t('reading.spread',
                {n: eye.mean?.of, spread: figure(eye.spread.total)}) : nothing}
        </p>` : nothing}
        ${eye.acuity ? html`<p>${t('word.acuity')} <bdi>${eye.acuity.text}</bdi>
        </p>` : nothing}`;
}

export function pdText(pd) {
    if (!pd) return '';
    const parts = [];
    if (pd.right && pd.left)
        parts.push(t('pd.eyes', {right: figure(pd.right, 1),
            left: figure(pd.left, 1)}));
    else if (pd.binocular)
        parts.push(t('pd.both', {both: figure(pd.binocular, 1)}));
    if (pd.near?.binocular)
        parts.push(t('pd.near', {both: figure(pd.near.binocular, 1)}));
    return parts.join(' · ');
}

class ReadingView extends Part {
    static properties = {reading: {attribute: false}};

    static styles = [look, eyePairStyle, css`
        .power {
            font-size: 1.15rem;
        }
    `];

    render() {
        const r = this.reading;
        const c = r.condition || {};
        return html`
            <p><strong>${word('kind', r.kind)}</strong>
                <span class="soft">${dayText(r.taken_at)}
                ${timeText(r.taken_at)}
                ${[r.device?.model, r.device?.serial].filter(Boolean)
                    .join(' ')}
                ${c.cycloplegic ? t('reading.cycloplegic',
                    {drug: c.drug || ''}) : nothing}
                ${r.vertex_mm ? t('reading.vertex',
                    {mm: figure(r.vertex_mm, 1)}) : nothing}
                ${pdText(r.pd_mm)}</span></p>
            <div class="eyes">
                ${r.unspecified ? html`<div class="sheet">
                    <h3>${t('side.unspecified')}</h3>
                    ${eyeBody(r.unspecified)}</div>`
                    : ['right', 'left'].map(side => html`
                        <lens-eye-panel side=${side}>${eyeBody(r[side])}
                            ${cautionList(r.cautions, side)}
                        </lens-eye-panel>`)}
            </div>
            ${cautionList((r.cautions || []).filter(
                x => x.eye !== 'right' && x.eye !== 'left'))}`;
    }
}

customElements.define('lens-reading', ReadingView);
