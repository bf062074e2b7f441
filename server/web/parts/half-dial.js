// A cylinder as a needle on a half dial: its angle is the axis, numbered
// anticlockwise as the examiner sees it, its length the cylinder. Other
// sources are thin needles, the cornea a dotted one, prism an arrow from the
// middle. Sends "axis" and "cylinder" with the new figure.
import {css, html, look, nothing, Part, svg} from '../core/part.js';
import {stepped, turned} from '../core/lens.js';
import {axisText, signed, spoken} from '../core/power.js';
import {t} from '../core/words.js';

const R = 96, CX = 118, CY = 112;

function at(deg, r) {
    const a = deg * Math.PI / 180;
    return [CX + r * Math.cos(a), CY - r * Math.sin(a)];
}

class HalfDial extends Part {
    static properties = {
        cylinder: {type: Number}, axis: {type: Number}, size: {type: Number},
        turn: {type: Number}, name: {}, needles: {attribute: false},
        region: {attribute: false}, prism: {attribute: false},
        fixed: {type: Boolean},
    };

    static styles = [look, css`
        :host {
            display: grid;
            gap: 0.3rem;
            min-width: 0;
        }
        svg {
            display: block;
            width: 100%;
            max-width: 19rem;
            height: auto;
            margin: auto;
            cursor: pointer;
            touch-action: manipulation;
        }
        .arc {
            fill: none;
            stroke: var(--edge);
            stroke-width: 1.5;
        }
        .ring {
            fill: none;
            stroke: var(--hair);
        }
        .tick {
            stroke: var(--edge);
        }
        text {
            fill: var(--soft);
            font-size: 11px;
            text-anchor: middle;
        }
        .needle {
            stroke: var(--accent);
            stroke-width: 5;
            stroke-linecap: round;
        }
        .thin {
            stroke: var(--ink);
            stroke-width: 1.5;
        }
        .cornea {
            stroke-dasharray: 2 4;
        }
        .letter {
            fill: var(--ink);
            paint-order: stroke;
            stroke: var(--sheet);
            stroke-width: 3px;
        }
        .region {
            fill: var(--accent);
            opacity: 0.28;
        }
        .prism {
            stroke: var(--ink);
            stroke-width: 3;
            fill: var(--ink);
        }
        .ends {
            display: grid;
            grid-template-columns: 1fr 1fr;
            gap: 0.3rem;
            direction: ltr;
        }
        .ends button {
            padding-inline: 0.3rem;
            line-height: 1.15;
        }
        .said {
            display: flex;
            justify-content: center;
            gap: 0.6rem;
            align-items: baseline;
            direction: ltr;
        }
        .said [role="slider"] {
            font-size: 1.35rem;
            font-weight: 650;
            min-width: 2.75rem;
            min-height: 2.75rem;
            display: inline-grid;
            place-items: center;
        }
    `];

    get scale() {
        const most = Math.max(Math.abs(this.cylinder || 0),
            ...(this.needles || []).map(n => Math.abs(n.cylinder || 0)));
        // With room for letters between the longest tip and the figures.
        return [1, 1.5, 2, 3, 4, 6, 8, 12, 20].find(s => most <= 0.65 * s)
            ?? 31;
    }

    get has() {
        return Boolean(this.cylinder);
    }

    sendCylinder(to) {
        if (this.fixed || to === this.cylinder || to > 0 || to < -20) return;
        this.dispatchEvent(new CustomEvent('cylinder', {detail: to}));
    }

    sendAxis(to) {
        if (this.fixed || !this.has || to === this.axis) return;
        this.dispatchEvent(new CustomEvent('axis', {detail: to}));
    }

    longer(way) {
        this.sendCylinder(stepped(this.cylinder || 0, this.size, -way));
    }

    rotate(way) {
        this.sendAxis(turned(Math.round(this.axis), way * this.turn));
    }

    keys(e, act) {
        const ways = {ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1};
        if (!ways[e.key]) return;
        act(ways[e.key]);
        e.preventDefault();
    }

    touched(e) {
        const box = e.currentTarget.getBoundingClientRect();
        const x = (e.clientX - box.left) / box.width * 236 - CX;
        const y = CY - (e.clientY - box.top) / box.height * 126;
        if (Math.hypot(x, y) < 20) return; // too near to name an angle
        const deg = Math.atan2(Math.max(y, 0), x) * 180 / Math.PI;
        const near = Math.round(deg / this.turn) * this.turn;
        this.sendAxis(near < 1 ? 180 : near);
    }

    // Letters of needles that lie together stand together.
    get lettered() {
        const all = (this.needles || []).filter(n => n.cylinder).sort(
            (a, b) => a.axis - b.axis || a.cylinder - b.cylinder);
        const groups = [];
        for (const n of all) {
            const last = groups.at(-1);
            if (last && n.axis - last.at(-1).axis < 9) last.push(n);
            else groups.push([n]);
        }
        return groups.flatMap(group => {
            const letters = group.map(n => n.letter).join('');
            const most = Math.min(...group.map(n => n.cylinder));
            const bearer = group.find(n => n.cylinder === most);
            return group.map(n => ({...n,
                letter: n === bearer ? letters : ''}));
        });
    }

    needle(deg, cylinder, kind) {
        const [x, y] = at(deg, Math.abs(cylinder) / this.scale * R);
        return svg`<line class=${kind} x1=${CX} y1=${CY} x2=${x} y2=${y}></line>`;
    }

    // Beyond the tip, by more the wider the letters are along the needle.
    letters({axis, cylinder, letter}) {
        if (!letter) return nothing;
        const wide = 2 * (letter.length - 1)
            * Math.abs(Math.cos(axis * Math.PI / 180));
        const [x, y] = at(axis, Math.abs(cylinder) / this.scale * R + 9 + wide);
        return svg`<text class="letter" x=${x} y=${y + 3}>${letter}</text>`;
    }

    // The arrow points to the base, as the examiner sees it.
    arrow() {
        const parts = this.prism || [];
        if (!parts.length) return nothing;
        let x = 0, y = 0;
        for (const {amount, base, right} of parts) {
            if (base === 'up') y += amount;
            if (base === 'down') y -= amount;
            if (base === 'in') x += right ? amount : -amount;
            if (base === 'out') x += right ? -amount : amount;
        }
        const size = Math.hypot(x, y), k = 30 / size;
        return svg`<line class="prism" x1=${CX} y1=${CY - 30} x2=${CX + x * k}
            y2=${CY - 30 - y * k}></line><circle class="prism" r="5"
            cx=${CX + x * k} cy=${CY - 30 - y * k}></circle>`;
    }

    // The part of the dial that a cross cylinder's answers leave.
    wedge() {
        if (!this.region) return nothing;
        const {axis, error, least, most} = this.region;
        const out = Math.abs(most) / this.scale * R;
        const inside = Math.abs(least) / this.scale * R;
        const from = axis - error, to = axis + error, points = [];
        for (let i = 0; i <= 24; i++)
            points.push(at(from + (to - from) * i / 24, out));
        for (let i = 24; i >= 0; i--)
            points.push(at(from + (to - from) * i / 24, inside));
        return svg`<polygon class="region" points=${points.map(
            p => p.map(v => v.toFixed(1)).join(',')).join(' ')}></polygon>`;
    }

    face() {
        const [x0] = at(180, R), [x1] = at(0, R);
        return svg`<path class="arc" d="M${x0} ${CY}A${R} ${R} 0 0 1 ${x1} ${CY}z">
            </path>
            ${[0.25, 0.5, 0.75].map(k => svg`<path class="ring"
                d="M${CX - R * k} ${CY}A${R * k} ${R * k} 0 0 1 ${CX + R * k} ${CY}"
                ></path>`)}
            ${Array.from({length: 19}, (_, i) => i * 10).map(deg => {
                const [ax, ay] = at(deg, R), [bx, by] = at(deg,
                    deg % 30 ? R - 5 : R - 10);
                const [tx, ty] = at(deg, R + 11);
                return svg`<line class="tick" x1=${ax} y1=${ay} x2=${bx}
                    y2=${by}></line>${deg % 30 ? nothing : svg`<text x=${tx}
                    y=${ty + 4}>${deg}</text>`}`;
            })}`;
    }

    button(label, text, run, off) {
        return html`<button aria-label=${t(label, {name: this.name})}
            ?disabled=${this.fixed || off} @click=${run}>${text}</button>`;
    }

    render() {
        const {has} = this;
        return html`
            <svg viewBox="0 0 236 126" aria-hidden="true"
                @click=${this.touched}>
                ${this.face()}${this.wedge()}
                ${this.lettered.map(n => this.needle(n.axis,
                    n.cylinder, n.dotted ? 'thin cornea' : 'thin'))}
                ${has ? this.needle(this.axis, this.cylinder, 'needle')
                    : svg`<circle cx=${CX} cy=${CY} r="5" class="region">
                        </circle>`}
                ${this.lettered.map(n => this.letters(n))}
                ${this.arrow()}
            </svg>
            <div class="said">
                <span role="slider" tabindex=${this.fixed ? -1 : 0}
                    aria-label=${t('dial.cylinder', {name: this.name})}
                    aria-valuemin="-20" aria-valuemax="0"
                    aria-valuenow=${this.cylinder || 0}
                    aria-valuetext=${has ? spoken(this.cylinder)
                        : t('dial.none')}
                    @keydown=${e => this.keys(e, w => this.longer(-w))}>
                    ${has ? signed(this.cylinder) : t('dial.none')}</span>
                ${has ? html`<span class="soft">×</span>
                <span role="slider" tabindex=${this.fixed ? -1 : 0}
                    aria-label=${t('dial.axis', {name: this.name})}
                    aria-valuemin="1" aria-valuemax="180"
                    aria-valuenow=${this.axis} aria-valuetext=${
                        t('spoken.axis', {n: this.axis})}
                    @keydown=${e => this.keys(e, w => this.rotate(w))}>
                    ${axisText(this.axis)}</span>` : nothing}
            </div>
            <div class="ends">
                ${this.button('dial.more-axis', `↶ ${t('dial.turn')}`,
                    () => this.rotate(1), !has)}
                ${this.button('dial.less-axis', `${t('dial.turn')} ↷`,
                    () => this.rotate(-1), !has)}
                ${this.button('dial.longer', t('dial.stronger'),
                    () => this.longer(1))}
                ${this.button('dial.shorter', t('dial.weaker'),
                    () => this.longer(-1), !has)}
            </div>`;
    }
}

customElements.define('lens-half-dial', HalfDial);
