// The near add: by age, by amplitude and working distance; the range of clear
// vision as a bar with the patient's tasks on it. Sends "add".
import {ask} from '../core/api.js';
import {css, html, look, nothing, Part, svg} from '../core/part.js';
import {stepped} from '../core/lens.js';
import {figure, parsed, signed, spoken} from '../core/power.js';
import {Latest} from '../core/write.js';
import {t} from '../core/words.js';
import {faultNote, told} from './field.js';

const FROM_CM = 20, TO_CM = 200, WIDTH = 400;

// Distances on a scale of dioptres, on which a step of add is a step.
function place(cm) {
    const d = 100 / Math.min(Math.max(cm, FROM_CM), TO_CM);
    return (100 / FROM_CM - d) / (100 / FROM_CM - 100 / TO_CM) * WIDTH;
}

class Near extends Part {
    static properties = {
        add: {type: Number}, age: {type: Number}, near: {attribute: false},
        tasks: {attribute: false}, fixed: {type: Boolean},
        found: {state: true}, distance: {state: true}, amplitude: {state: true},
    };

    static styles = [look, css`
        .two {
            display: grid;
            grid-template-columns: repeat(auto-fit, minmax(9rem, 1fr));
            gap: 0.5rem;
        }
        svg {
            width: 100%;
            max-width: 34rem;
            height: auto;
            direction: ltr;
        }
        .line {
            stroke: var(--edge);
        }
        .clear {
            fill: var(--accent);
        }
        text {
            fill: var(--ink);
            font-size: 11px;
            text-anchor: middle;
        }
        .task {
            stroke: var(--ink);
            stroke-dasharray: 3 2;
        }
        .add {
            font-size: 1.35rem;
            font-weight: 650;
            min-width: 4.5rem;
            text-align: center;
        }
    `];

    asked = new Latest(this);
    distance = 40;

    firstUpdated() {
        this.distance = (this.near?.working_distance_mm ?? 400) / 10;
        this.amplitude = this.near?.right?.amplitude;
        this.look();
    }

    updated(changed) {
        if (changed.has('add') && changed.get('add') !== undefined) this.look();
    }

    // What the optics core says about this age, amplitude and add.
    async look() {
        const call = (name, body) => ask('POST', `/v1/optics/${name}`, {body})
            .then(a => a.body);
        const done = await this.asked.run(async () => {
            const found = {};
            if (this.age >= 1)
                found.usual = await call('amplitude-by-age',
                    {age_years: this.age});
            if (this.age >= 45)
                found.byAge = await call('add-by-age', {age_years: this.age});
            const amplitude = this.amplitude ?? found.usual?.average;
            if (amplitude !== undefined) {
                found.byAmplitude = await call('add-from-amplitude',
                    {distance_cm: this.distance, amplitude, fraction: 0.5});
                found.range = await call('clear-range',
                    {add: this.add || 0, amplitude});
            }
            return found;
        });
        if (done) this.found = done;
    }

    set(name, text) {
        const value = parsed(text);
        if (Number.isNaN(value) || value <= 0) return;
        this[name] = value;
        this.look();
        const body = {...this.near, ...(name === 'distance'
            ? {working_distance_mm: Math.round(value * 10)}
            : {right: {...this.near?.right, amplitude: value},
                left: {...this.near?.left, amplitude: value}})};
        this.dispatchEvent(new CustomEvent('near', {detail: body}));
    }

    send(to) {
        if (to > 0.24 && to <= 20 || to === 0)
            this.dispatchEvent(new CustomEvent('add', {detail: to || null}));
    }

    bar() {
        const range = this.found?.range;
        if (!range) return nothing;
        const from = range.near_cm ?? TO_CM, to = range.far_cm ?? 1e4;
        const x = place(from), width = Math.max(place(to) - x, 2);
        const said = t(range.far_cm ? 'near.range' : 'near.range-far',
            {from: figure(from, 0), to: figure(to, 0)});
        return html`<svg viewBox="-14 0 ${WIDTH + 28} 62" role="img"
                aria-label=${said}>
            ${svg`<rect class="clear" x=${x} y="22" width=${width} height="12">
                </rect>
            <line class="line" x1="0" x2=${WIDTH} y1="34" y2="34"></line>
            ${[20, 25, 33, 40, 50, 66, 100, 200].map(cm => svg`<line
                class="line" x1=${place(cm)} x2=${place(cm)} y1="34" y2="39">
                </line><text x=${place(cm)} y="52">${cm}</text>`)}
            ${(this.tasks || []).filter(k => k.distance_mm).map(k => svg`<line
                class="task" x1=${place(k.distance_mm / 10)}
                x2=${place(k.distance_mm / 10)} y1="14" y2="39"></line>
                <text x=${place(k.distance_mm / 10)} y="11">${k.name}</text>`)}`}
            </svg><p>${said}</p>`;
    }

    suggestion(label, value) {
        if (value === undefined || value === null) return nothing;
        const add = Math.max(0, Math.round(value * 4) / 4);
        return html`<button ?disabled=${this.fixed} @click=${() =>
            this.send(add)}>${label} ${add ? told(signed(add), spoken(add))
            : t('near.no-add')}</button>`;
    }

    render() {
        const f = this.found || {}, now = this.add || 0;
        return html`
            <div class="row">
                <button ?disabled=${this.fixed || !now} aria-label=${
                    t('near.less')} @click=${() => this.send(
                    now <= 0.25 ? 0 : stepped(now, 0.25, -1))}>−</button>
                <span class="add" role="status">${now ? told(signed(now),
                    t('spoken.add', {text: spoken(now)})) : t('near.no-add')}
                    </span>
                <button ?disabled=${this.fixed} aria-label=${t('near.more')}
                    @click=${() => this.send(now ? stepped(now, 0.25, 1)
                        : 0.75)}>+</button>
                ${this.suggestion(t('near.by-age'), f.byAge?.low)}
                ${f.byAge && f.byAge.high !== f.byAge.low
                    ? this.suggestion(t('near.by-age'), f.byAge.high) : nothing}
                ${this.suggestion(t('near.by-amplitude'), f.byAmplitude?.add)}
            </div>
            <div class="two">
                <label>${t('near.distance')}<input inputmode="decimal"
                    .value=${figure(this.distance, 0)} ?disabled=${this.fixed}
                    @change=${e => this.set('distance', e.target.value)}>
                </label>
                <label>${t('near.amplitude')}<input inputmode="decimal"
                    .value=${this.amplitude ? figure(this.amplitude) : ''}
                    ?disabled=${this.fixed} placeholder=${f.usual
                        ? t('near.usual', {n: figure(f.usual.average, 1)}) : ''}
                    @change=${e => this.set('amplitude', e.target.value)}>
                </label>
            </div>
            ${this.bar()}${faultNote(this.asked)}
            <p class="soft">${t('near.aid')}</p>`;
    }
}

customElements.define('lens-near', Near);
