// One eye's panel: R at the left of the screen, with cut corners; L at its
// right, with round ones; the word always.
import {css, html, look, Part} from '../core/part.js';
import {t} from '../core/words.js';

class EyePanel extends Part {
    static properties = {side: {}, chosen: {type: Boolean}};

    static styles = [look, css`
        :host {
            position: relative;
            isolation: isolate;
            padding: 0.7rem 0.9rem;
            min-width: 0;
        }
        .back {
            position: absolute;
            inset: 0;
            z-index: -1;
            background: var(--sheet);
        }
        .back.right {
            clip-path: polygon(1rem 0, calc(100% - 1rem) 0, 100% 1rem,
                100% calc(100% - 1rem), calc(100% - 1rem) 100%, 1rem 100%,
                0 calc(100% - 1rem), 0 1rem);
        }
        .back.left {
            border-radius: 1.1rem;
        }
        h2 {
            color: var(--soft);
            font-weight: 400;
            font-size: 1rem;
        }
        h2 strong {
            color: var(--ink);
            font-size: 1.15rem;
        }
    `];

    render() {
        const side = this.side;
        return html`<div class="back ${side}"></div>
            <slot name="head"><h2><strong>${t(`side.${side}.mark`)}</strong>
                ${t(`side.${side}`)}</h2></slot>
            <slot></slot>`;
    }
}

customElements.define('lens-eye-panel', EyePanel);

// Both panels, R at the left whatever way the language runs.
export const eyePairStyle = css`
    .eyes {
        display: grid;
        grid-template-columns: 1fr 1fr;
        direction: ltr;
        gap: 0.6rem;
    }
    .eyes > * {
        direction: var(--way, inherit);
    }
`;
