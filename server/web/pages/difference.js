// See the difference: one line of a chart through the glasses worn and through
// the new Rx, for the patient. Nothing clinical stands here but one sentence.
import {css, html, look, nothing, Part} from '../core/part.js';
import {ask} from '../core/api.js';
import {blurred, pictureOf} from '../core/blur.js';
import {drawLine, FAMILIES} from '../core/optotype.js';
import {figure, parsed} from '../core/power.js';
import {prefs} from '../core/prefs.js';
import {Watch} from '../core/store.js';
import {Latest} from '../core/write.js';
import {t} from '../core/words.js';
import {faultNote} from '../parts/field.js';

const CARD_MM = 85.6; // ISO/IEC 7810, ID-1
const LINES = [1, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0];
const PUPILS = [2, 3, 4, 5, 6, 7];
const TYPES = 5; // in a line
const DRAWN_PX = 44; // a type's height in the picture, at least
const KERNEL_MOST = 121; // pixels; the core draws up to 129
const LEAST_SHOWN = 60; // CSS pixels of a type's height on the screen
const KEPT = 'lensclerk.screen';

function screen() {
    try {
        return {card_px: 324, distance_cm: 60,
            ...JSON.parse(localStorage.getItem(KEPT) || '{}')};
    } catch {
        return {card_px: 324, distance_cm: 60};
    }
}

function lens(eye) {
    if (typeof eye?.sphere !== 'number') return {sphere: 0};
    const {sphere, cylinder, axis} = eye;
    return cylinder ? {sphere, cylinder, axis} : {sphere};
}

class Difference extends Part {
    static properties = {
        exam: {}, side: {state: true}, mode: {state: true},
        line: {state: true}, family: {state: true}, pupil: {state: true},
        screen: {state: true}, pictures: {state: true}, setting: {state: true},
    };

    static styles = [look, css`
        :host {
            display: grid;
            min-height: 96vh;
            grid-template-rows: 1fr auto;
            gap: 0.6rem;
        }
        .chart {
            display: grid;
            place-items: center;
            align-content: center;
            overflow: hidden;
            min-height: 16rem;
        }
        canvas {
            max-width: 100%;
        }
        .words {
            display: grid;
            grid-template-columns: 1fr 1fr;
            width: 100%;
            font-size: 1.2rem;
            text-align: center;
            direction: ltr;
        }
        .switch {
            justify-content: center;
        }
        .switch button {
            min-width: 8rem;
            min-height: 3.6rem;
            font-size: 1.25rem;
        }
        .said {
            text-align: center;
            font-size: 1.2rem;
        }
        .row {
            justify-content: center;
        }
        .under {
            display: grid;
            gap: 0.5rem;
            text-align: center;
        }
        details label {
            min-width: 9rem;
        }
        .card-frame {
            max-width: 100%;
        }
    `];

    delta = new Watch(this, () => `/v1/exams/${this.exam}/delta`);
    asked = new Latest(this);
    mode = 'now';
    line = 5;
    family = 'letters';
    pupil = 4;
    screen = screen();

    willUpdate() {
        const delta = this.delta.value;
        if (!delta) return;
        this.side ??= this.moreChanged(delta);
        const wanted = JSON.stringify([this.side, this.line, this.family,
            this.pupil, delta.right, delta.left]);
        if (wanted === this.made) return;
        this.made = wanted;
        this.make(delta[this.side]);
    }

    moreChanged(delta) {
        const blur = side => delta[side]?.power_vector?.blur ?? -1;
        return blur('left') > blur('right') ? 'left' : 'right';
    }

    // Minutes of arc of a type's height: five at logMAR 0.
    get typeArcmin() {
        return 5 * 10 ** LINES[this.line];
    }

    async make(eye) {
        if (!eye) return;
        const final = lens(eye.final);
        const worn = lens(eye.old_at_new_vertex ?? eye.habitual);
        const done = await this.asked.run(async () => {
            const {body: through} = await ask('POST',
                '/v1/optics/look-through', {body: {correction: final, worn,
                    pupil_mm: this.pupil}});
            const fine = Math.max(this.typeArcmin / DRAWN_PX,
                through.major_arcmin / (KERNEL_MOST - 2));
            const {body: kernel} = await ask('POST', '/v1/optics/point-spread',
                {body: {...lens(through), pupil_mm: this.pupil,
                    arcmin_per_pixel: fine}});
            return {kernel, fine, loss: through.logmar_loss};
        });
        if (!done) return;
        const {kernel, fine, loss} = done;
        if (this.begin(loss)) return;
        const px = this.typeArcmin / fine;
        const names = Array.from({length: TYPES}, (_, i) => FAMILIES[
            this.family][(i * 3 + this.line) % FAMILIES[this.family].length]);
        const sharp = drawLine(names, px, (kernel.n - 1) / 2 + px * 0.6);
        this.pictures = {kernel, sharp, now: blurred(sharp, kernel), px};
    }

    // At first a line that the old glasses just fail to show; true when that
    // is another than the one that was asked about.
    begin(loss) {
        if (this.begun) return false;
        this.begun = true;
        const line = Math.max(0, LINES.findLastIndex(l => l >= loss - 0.05));
        const other = line !== this.line;
        this.line = line;
        return other;
    }

    updated() {
        if (this.pictures) this.paint();
    }

    get level() {
        return prefs.get('theme') === 'day' ? 1 : 0.3;
    }

    // Pictures of both, made once; a switch is one copy.
    sheets() {
        const key = `${this.level}`;
        if (this.pictures.key !== key) {
            this.pictures.key = key;
            for (const name of ['sharp', 'now']) {
                const of = this.pictures[name];
                const sheet = new OffscreenCanvas(of.width, of.height);
                sheet.getContext('2d').putImageData(pictureOf(of, this.level),
                    0, 0);
                this.pictures[`${name}Sheet`] = sheet;
            }
        }
        return {now: this.pictures.nowSheet, new: this.pictures.sharpSheet};
    }

    paint() {
        const canvas = this.renderRoot.querySelector('canvas');
        if (!canvas) return;
        const {width, height} = this.pictures.sharp, both = this.sheets();
        if (canvas.width !== width) canvas.width = width;
        if (canvas.height !== height) canvas.height = height;
        canvas.style.width = `${width * this.zoom}px`;
        const ctx = canvas.getContext('2d');
        ctx.drawImage(both[this.mode === 'new' ? 'new' : 'now'], 0, 0);
        if (this.mode !== 'half') return;
        const x = Math.round(width / 2);
        ctx.drawImage(both.new, x, 0, width - x, height, x, 0, width - x,
            height);
        ctx.fillStyle = '#000';
        ctx.fillRect(x, 0, 1, height);
    }

    // CSS pixels of a type at its true size on this screen, at this distance.
    get trueCss() {
        const mm = 2 * this.screen.distance_cm * 10 * Math.tan(
            this.typeArcmin / 60 * Math.PI / 360);
        return mm * this.screen.card_px / CARD_MM;
    }

    get enlarged() {
        return Math.max(1, LEAST_SHOWN / this.trueCss);
    }

    // From picture pixels to CSS pixels.
    get zoom() {
        return this.trueCss * this.enlarged / this.pictures.px;
    }

    keep(change) {
        this.screen = {...this.screen, ...change};
        localStorage.setItem(KEPT, JSON.stringify(this.screen));
    }

    sentence() {
        const eye = this.delta.value?.[this.side];
        if (!eye) return '';
        const name = t(`side.${this.side}`);
        if (eye.within_noise) return t('see.same', {eye: name});
        const said = [], m = eye.power_vector?.m ?? 0;
        const steps = Math.round(Math.abs(m) * 4);
        if (steps) said.push(t(m < 0 ? 'see.minus' : 'see.plus',
            {eye: name, n: steps}));
        const old = eye.old_at_new_vertex ?? eye.habitual, now = eye.final;
        if (old?.cylinder && now?.cylinder) {
            const d = Math.abs(old.axis - now.axis);
            const turn = Math.round(Math.min(d, 180 - d));
            if (turn >= 5) said.push(t('see.axis', {n: turn}));
        }
        return said.join(' ') || t('see.little', {eye: name});
    }

    settings() {
        const s = this.screen;
        return html`<details><summary>${t('see.settings')}</summary>
            <div class="row">
                ${this.choice('family', Object.keys(FAMILIES), v =>
                    t(`see.family.${v}`))}
                ${this.choice('pupil', PUPILS, v => `${v} mm`)}
                <label>${t('see.distance')}<input inputmode="decimal"
                    .value=${figure(s.distance_cm, 0)} @change=${e => {
                        const cm = parsed(e.target.value);
                        if (cm >= 20 && cm <= 800) this.keep({distance_cm: cm});
                    }}></label></div>
            <p>${t('see.card')}</p>
            <div class="row"><button aria-label=${t('see.narrower')}
                @click=${() => this.keep({card_px: s.card_px - 2})}>−</button>
                <button aria-label=${t('see.wider')}
                @click=${() => this.keep({card_px: s.card_px + 2})}>+</button>
            </div>
            <svg class="card-frame" width=${s.card_px} height="64"
                role="img" aria-label=${t('see.card-width',
                    {px: s.card_px})}><rect x="1" y="1" rx="8"
                    width=${s.card_px - 2} height="62" fill="none"
                    stroke="currentColor" stroke-width="2"></rect></svg>
            </details>`;
    }

    choice(name, values, text) {
        return html`<label>${t(`see.${name}`)}<select @change=${e => {
            this[name] = name === 'pupil' ? Number(e.target.value)
                : e.target.value;
        }}>${values.map(v => html`<option value=${v} ?selected=${
            v === this[name]}>${text(v)}</option>`)}</select></label>`;
    }

    render() {
        const fault = this.delta.fault;
        const modes = ['now', 'new', 'half'];
        return html`<h1 class="hidden">${t('see.title')}</h1>
            <div class="chart">
                ${this.pictures ? html`<div class="words"
                    aria-hidden="true"><span>${this.mode === 'new' ? ''
                        : t('see.now')}</span><span>${this.mode === 'now' ? ''
                        : t('see.new')}</span></div>
                    <canvas role="img" aria-label=${t('see.picture', {
                        mode: t(`see.${this.mode}`), line: figure(
                            LINES[this.line], 1)})}></canvas>`
                    : html`<p class="soft">${fault?.message
                        ?? t('word.loading')}</p>`}
                <p class="said" role="status">${this.sentence()}</p>
            </div>
            <div class="under">
                ${faultNote(this.asked)}
                <div class="row switch" role="group" aria-label=${
                    t('see.title')}>${modes.map(mode => html`<button
                    aria-pressed=${this.mode === mode ? 'true' : 'false'}
                    @click=${() => {
                        this.mode = mode;
                    }}>${t(`see.${mode}`)}</button>`)}</div>
                <div class="row">
                    ${['right', 'left'].map(side => html`<button aria-pressed=${
                        this.side === side ? 'true' : 'false'} ?disabled=${
                        !this.delta.value?.[side]} @click=${() => {
                        this.side = side;
                    }}>${t(`see.${side}`)}</button>`)}
                    <button ?disabled=${this.line === 0} @click=${() => {
                        this.line--;
                    }}>${t('see.larger')}</button>
                    <button ?disabled=${this.line === LINES.length - 1}
                        @click=${() => {
                            this.line++;
                        }}>${t('see.smaller')}</button>
                    <a class="button" href="#exam/${this.exam}">
                        ${t('see.back')}</a>
                </div>
                ${this.settings()}
                <p class="soft">${t('see.simulation')} ${this.enlarged > 1
                    ? t('see.enlarged', {n: figure(this.enlarged, 1)})
                    : nothing}</p>
            </div>`;
    }
}

customElements.define('lens-difference', Difference);
