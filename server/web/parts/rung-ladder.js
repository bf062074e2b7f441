// A power as a place: a ladder of quarter-dioptre rungs, plus upwards, the
// value as a bar on its rung, other sources as thin marks. A slider that also
// takes + and -, and a touch on a rung. Sends "to" with the new power.
import {css, html, look, nothing, Part, svg} from '../core/part.js';
import {stepped, truePower, written} from '../core/lens.js';
import {signed, sphereSpoken, sphereText} from '../core/power.js';
import {t} from '../core/words.js';

const RUNGS = 6; // each way
const GAP = 17;
const WIDTH = 128;
const HEIGHT = (2 * RUNGS + 1) * GAP;

class RungLadder extends Part {
    static properties = {
        value: {type: Number}, size: {type: Number}, name: {},
        marks: {attribute: false}, fixed: {type: Boolean},
    };

    static styles = [look, css`
        :host {
            display: grid;
            gap: 0.3rem;
            width: 8rem;
        }
        svg {
            display: block;
            width: 8rem;
            height: auto;
            touch-action: manipulation;
            cursor: pointer;
        }
        .rung {
            stroke: var(--hair);
            stroke-width: 1;
        }
        .rung.whole {
            stroke: var(--edge);
        }
        .pole {
            stroke: var(--edge);
            stroke-width: 1.5;
        }
        text {
            fill: var(--soft);
            font-size: 11px;
        }
        .bar {
            fill: var(--accent);
        }
        text.figure {
            fill: var(--on-accent);
            font-size: 16px;
            font-weight: 700;
        }
        .mark {
            stroke: var(--ink);
            stroke-width: 1.5;
        }
        text.mark {
            fill: var(--ink);
            stroke: none;
        }
        button {
            font-size: 1.4rem;
            width: 100%;
        }
    `];

    // The ladder moves only when the value would leave it.
    get middle() {
        const value = this.value ?? 0;
        if (this.value === undefined) return 0;
        if (this.anchor === undefined
            || Math.abs(value - this.anchor) > (RUNGS - 1) / 4)
            this.anchor = Math.round(value * 4) / 4;
        return this.anchor;
    }

    y(power) {
        return HEIGHT / 2 - (power - this.middle) * 4 * GAP;
    }

    send(to) {
        if (this.fixed || to === this.value || Math.abs(to) > 40) return;
        this.dispatchEvent(new CustomEvent('to', {detail: to}));
    }

    by(way) {
        this.send(stepped(this.value, this.size, way));
    }

    far(dioptres) {
        this.send(written(truePower(this.value ?? 0) + dioptres));
    }

    keys(e) {
        const ways = {ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1};
        if (ways[e.key]) this.by(ways[e.key]);
        else if (e.key === 'PageUp') this.far(1);
        else if (e.key === 'PageDown') this.far(-1);
        else return;
        e.preventDefault();
    }

    touched(e) {
        const box = e.currentTarget.getBoundingClientRect();
        const y = (e.clientY - box.top) / box.height * HEIGHT;
        const rung = Math.round((HEIGHT / 2 - y) / GAP);
        this.send(this.middle + rung / 4);
    }

    rung(i) {
        const power = this.middle + i / 4, y = this.y(power);
        const whole = Number.isInteger(power);
        return svg`<line class="rung ${whole ? 'whole' : ''}" x1="34" x2="86"
            y1=${y} y2=${y}></line>
            ${whole || (power * 2) % 1 === 0 ? svg`<text x="30" y=${y + 4}
                text-anchor="end">${signed(power, whole ? 0 : 1)}</text>`
                : nothing}`;
    }

    mark(m) {
        const y = this.y(m.power);
        if (y < 4 || y > HEIGHT - 4) return nothing;
        return svg`<line class="mark" x1="80" x2="95" y1=${y} y2=${y}></line>
            <text class="mark" x="98" y=${y + 4}>${m.letter}</text>`;
    }

    // Marks at one place share a line.
    get placed() {
        const by = new Map();
        for (const m of this.marks || []) {
            if (typeof m.power !== 'number') continue;
            const key = Math.round(m.power * 4);
            const at = by.get(key) || {power: m.power, letter: ''};
            by.set(key, {...at, letter: at.letter + m.letter});
        }
        return [...by.values()];
    }

    render() {
        const none = this.value === undefined || Number.isNaN(this.value);
        const y = none ? 0 : this.y(this.value);
        const rungs = Array.from({length: 2 * RUNGS + 1}, (_, i) => i - RUNGS);
        return html`
            <button @click=${() => this.by(1)} ?disabled=${this.fixed}
                aria-label=${t('ladder.up', {name: this.name})}>+</button>
            <svg viewBox="0 0 ${WIDTH} ${HEIGHT}" tabindex=${this.fixed ? -1 : 0}
                role="slider" aria-label=${this.name} aria-valuemin="-40"
                aria-valuemax="40" aria-valuenow=${none ? 0 : this.value}
                aria-valuetext=${none ? t('power.absent')
                    : sphereSpoken(this.value)}
                aria-orientation="vertical"
                aria-disabled=${this.fixed ? 'true' : 'false'}
                @keydown=${this.keys} @click=${this.touched}>
                <line class="pole" x1="34" x2="34" y1="0" y2=${HEIGHT}></line>
                <line class="pole" x1="86" x2="86" y1="0" y2=${HEIGHT}></line>
                ${rungs.map(i => this.rung(i))}
                ${none ? nothing : svg`<rect class="bar" x="20" width="66"
                    height="24" rx="3" y=${y - 12}></rect>
                    <text class="figure" x="53" y=${y + 6}
                        text-anchor="middle">${sphereText(this.value)}</text>`}
                ${this.placed.map(m => this.mark(m))}
            </svg>
            <button @click=${() => this.by(-1)} ?disabled=${this.fixed}
                aria-label=${t('ladder.down', {name: this.name})}>−</button>`;
    }
}

customElements.define('lens-rung-ladder', RungLadder);
