// Prism by steps, drawn on a face as the examiner sees it; phorias with
// Sheard's and Percival's criteria beside them. Sends "prism" and "found".
import {ask} from '../core/api.js';
import {css, html, look, nothing, Part, svg} from '../core/part.js';
import {prismPart} from '../core/lens.js';
import {figure, parsed} from '../core/power.js';
import {Writer} from '../core/write.js';
import {t} from '../core/words.js';
import {faultNote} from './field.js';

const BASES = {prism_horizontal: ['in', 'out'], prism_vertical: ['up', 'down']};
const STEPS = [0.1, 0.2, 0.5];

// One more step towards a base; through nothing to the other side.
function nudged(part, base, step) {
    const signedNow = part ? part.amount * (part.base === base ? 1 : -1) : 0;
    const next = Math.round((signedNow + step) * 100) / 100;
    const pair = Object.values(BASES).find(b => b.includes(base));
    if (next === 0) return null;
    return {amount: Math.abs(next),
        base: next > 0 ? base : pair.find(b => b !== base)};
}

class Prism extends Part {
    static properties = {
        working: {attribute: false}, binocular: {attribute: false},
        fixed: {type: Boolean}, size: {state: true}, told: {state: true},
    };

    static styles = [look, css`
        .all {
            display: grid;
            gap: 0.8rem;
            grid-template-columns: repeat(auto-fit, minmax(18rem, 1fr));
        }
        .eyes {
            display: grid;
            grid-template-columns: 1fr 1fr;
            gap: 0.6rem;
            direction: ltr;
        }
        .pad {
            display: grid;
            grid-template-columns: 1fr 1fr;
            gap: 0.3rem;
        }
        svg {
            width: 100%;
            max-width: 18rem;
            height: auto;
            display: block;
            margin: auto;
        }
        .face {
            fill: none;
            stroke: var(--edge);
            stroke-width: 1.5;
        }
        .base {
            stroke: var(--accent);
            stroke-width: 4;
            fill: var(--accent);
        }
        text {
            fill: var(--soft);
            font-size: 12px;
            text-anchor: middle;
        }
        form {
            display: grid;
            gap: 0.5rem;
            grid-template-columns: repeat(auto-fit, minmax(8rem, 1fr));
            align-items: end;
        }
    `];

    size = 0.5;
    writer = new Writer(this);

    nudge(side, base) {
        const field = ['in', 'out'].includes(base) ? 'prism_horizontal'
            : 'prism_vertical';
        const part = prismPart(this.working?.[side], field);
        this.dispatchEvent(new CustomEvent('prism', {detail: {side, field,
            to: nudged(part, base, this.size)}}));
    }

    arrow(side, cx) {
        const nose = side === 'right' ? 1 : -1; // where the nose is, on screen
        let x = 0, y = 0;
        for (const {amount, base} of this.working?.[side]?.prism || []) {
            if (base === 'in') x += amount * nose;
            if (base === 'out') x -= amount * nose;
            if (base === 'up') y -= amount;
            if (base === 'down') y += amount;
        }
        const length = Math.hypot(x, y);
        if (!length) return nothing;
        const ex = cx + x / length * 34, ey = 62 + y / length * 34;
        return svg`<line class="base" x1=${cx} y1="62" x2=${ex} y2=${ey}></line>
            <circle class="base" cx=${ex} cy=${ey} r="6"></circle>`;
    }

    said(side) {
        const parts = this.working?.[side]?.prism || [];
        return parts.length ? parts.map(p => t('power.prism',
            {amount: figure(p.amount), base: t(`base.${p.base}`)})).join(', ')
            : t('prism.none');
    }

    face() {
        return html`<svg viewBox="0 0 240 150" role="img" aria-label=${t(
            'prism.face', {right: this.said('right'), left: this.said('left')})}>
            ${svg`<ellipse class="face" cx="120" cy="75" rx="100" ry="72">
                </ellipse><path class="face" d="M120 66l-8 26h16"></path>
                <ellipse class="face" cx="78" cy="62" rx="24" ry="13"></ellipse>
                <ellipse class="face" cx="162" cy="62" rx="24" ry="13"></ellipse>
                <text x="78" y="112">${t('side.right.mark')}</text>
                <text x="162" y="112">${t('side.left.mark')}</text>
                ${this.arrow('right', 78)}${this.arrow('left', 162)}`}
            </svg>`;
    }

    pad(side) {
        const order = side === 'right' ? ['out', 'in'] : ['in', 'out'];
        return html`<div><p><strong>${t(`side.${side}.mark`)}</strong>
            ${this.said(side)}</p>
            <div class="pad">${['up', 'down', ...order].map(base => html`<button
                ?disabled=${this.fixed} aria-label=${t('prism.more', {
                    eye: t(`side.${side}`), base: t(`base.${base}`)})}
                @click=${() => this.nudge(side, base)}>${t(`base.${base}`)}
            </button>`)}</div></div>`;
    }

    // A phoria, its opposing reserve, and what two criteria make of them.
    async judge(e) {
        e.preventDefault();
        const form = new FormData(e.target);
        const amount = parsed(form.get('amount'));
        const reserve = parsed(form.get('reserve'));
        const other = parsed(form.get('other'));
        const direction = form.get('direction');
        if (Number.isNaN(amount)) return;
        await this.writer.run(async () => {
            const told = {};
            if (!Number.isNaN(reserve))
                told.sheard = (await ask('POST', '/v1/optics/sheard',
                    {body: {phoria: amount, reserve}})).body.prism;
            if (!Number.isNaN(reserve) && !Number.isNaN(other))
                told.percival = (await ask('POST', '/v1/optics/percival',
                    {body: {greater: Math.max(reserve, other),
                        lesser: Math.min(reserve, other)}})).body.prism;
            // The base that helps the lesser reserve of the two.
            const lesser = Number.isNaN(other) || reserve <= other;
            this.told = {...told, direction, lesser};
        });
        const distance = form.get('distance');
        const against = direction === 'exo' ? 'base-out' : 'base-in';
        const phorias = (this.binocular?.phorias || []).filter(
            p => p.distance !== distance || !p.horizontal);
        const vergences = (this.binocular?.vergences || []).filter(
            v => v.distance !== distance);
        if (!Number.isNaN(reserve)) vergences.push({distance,
            direction: against, blur: reserve});
        if (!Number.isNaN(other)) vergences.push({distance, direction:
            against === 'base-out' ? 'base-in' : 'base-out', blur: other});
        this.dispatchEvent(new CustomEvent('found', {detail: {
            ...this.binocular, vergences, phorias: [...phorias,
                {distance, horizontal: {amount, direction}}]}}));
    }

    criteria() {
        if (!this.told) return nothing;
        const {direction, lesser} = this.told;
        const base = helps => t(helps === (direction === 'exo') ? 'base.in'
            : 'base.out');
        const line = (name, value, helps) => value === undefined ? nothing
            : html`<p>${t(`prism.${name}`)} ${value > 0 ? t('power.prism',
                {amount: figure(value), base: base(helps)})
                : t('prism.no-need')}</p>`;
        return html`<div role="status">${line('sheard', this.told.sheard, true)}
            ${line('percival', this.told.percival, lesser)}
            <p class="soft">${t('prism.aid')}</p></div>`;
    }

    number(name) {
        return html`<label>${t(`prism.${name}`)}<input name=${name}
            inputmode="decimal" autocomplete="off"></label>`;
    }

    select(name, values) {
        return html`<label>${t(`prism.${name}`)}<select name=${name}>
            ${values.map(v => html`<option value=${v}>${t(`prism.${v}`)}
            </option>`)}</select></label>`;
    }

    render() {
        return html`<div class="all"><div>
                <div class="row" role="group" aria-label=${t('prism.step')}>
                    ${STEPS.map(s => html`<button aria-pressed=${
                        s === this.size ? 'true' : 'false'} @click=${() => {
                        this.size = s;
                    }}>${figure(s, 1)} Δ</button>`)}</div>
                ${this.face()}
                <div class="eyes">${this.pad('right')}${this.pad('left')}</div>
            </div>
            <div><h3>${t('prism.phoria')}</h3>
                <form @submit=${this.judge}>
                    ${this.select('distance', ['far', 'near'])}
                    ${this.select('direction', ['exo', 'eso'])}
                    ${this.number('amount')}${this.number('reserve')}
                    ${this.number('other')}
                    <button ?disabled=${this.fixed}>${t('prism.judge')}</button>
                </form>
                ${(this.binocular?.phorias || []).filter(p => p.horizontal).map(
                    p => html`<p>${t(`prism.${p.distance}`)}:
                        ${figure(p.horizontal.amount)} Δ
                        ${p.horizontal.direction
                            ? t(`prism.${p.horizontal.direction}`) : ''}</p>`)}
                ${this.criteria()}${faultNote(this.writer)}</div></div>`;
    }
}

customElements.define('lens-prism', Prism);
