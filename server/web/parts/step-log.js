// The working refraction's changes, newest first, with the test of each.
import {css, html, look, nothing, Part} from '../core/part.js';
import {axisText, figure, signed, spoken} from '../core/power.js';
import {t, word} from '../core/words.js';
import {told} from './field.js';

function prismText(p) {
    return [p].flat().filter(Boolean).map(x => t('power.prism',
        {amount: figure(x.amount), base: t(`base.${x.base}`)})).join(', ')
        || t('log.nothing');
}

function figureText(field, value, say) {
    if (value === null || value === undefined) return t('log.nothing');
    if (field === 'axis') return say ? String(value) : axisText(value);
    if (typeof value === 'object') return prismText(value);
    if (typeof value === 'string') return word('lens', value);
    if (field === 'vertex_mm') return `${figure(value, 1)} mm`;
    return (say ? spoken : signed)(value);
}

// {right, left} or one figure, from what to what.
export function stepText(step, say = false) {
    const pair = step.eye === 'both' && step.to && typeof step.to === 'object'
        && 'right' in step.to;
    const side = step.eye === 'both' ? 'both' : step.eye;
    const parts = pair ? ['right', 'left'] : [null];
    return parts.map(s => t(say ? 'log.line-say' : 'log.line', {
        eye: say ? t(`side.${s ?? side}`) : t(`side.${s ?? side}.mark`),
        field: word('field', step.field),
        from: figureText(step.field, s ? step.from?.[s] : step.from, say),
        to: figureText(step.field, s ? step.to[s] : step.to, say)})).join('; ');
}

class StepLog extends Part {
    static properties = {
        steps: {attribute: false}, unsent: {attribute: false},
    };

    static styles = [look, css`
        ol {
            list-style: none;
            margin: 0;
            padding: 0;
            display: grid;
            gap: 0.15rem;
            max-height: 9.5rem;
            overflow: auto;
        }
        .waiting {
            border: 1px dashed var(--accent);
            padding: 0 0.3rem;
        }
        .undone {
            text-decoration: line-through;
            color: var(--soft);
        }
    `];

    line(step) {
        const test = step.test ? html` <span class="soft">${word('test',
            step.test)}</span>` : nothing;
        if (step.kind === 'undo') return html`<li class="soft">
            ${t('log.undo')}</li>`;
        if (step.kind === 'start-from') return html`<li
            class=${step.undone ? 'undone' : ''}>${t('log.start',
            {what: word('kind', step.source?.kind)})}</li>`;
        return html`<li class=${step.undone ? 'undone' : ''}>
            <span class="figure">${told(stepText(step),
                stepText(step, true))}</span>${test}</li>`;
    }

    render() {
        const waiting = [...(this.unsent || [])].reverse().filter(
            i => i.kind === 'step');
        return html`<ol tabindex="0" aria-label=${t('log.title')}>
            ${waiting.map(i => html`<li class="waiting">${i.body.undo
                ? t('log.undo') : html`<span class="figure">${told(
                    stepText(i.body), stepText(i.body, true))}</span>`} <span class="soft">${t('log.unsent')}</span>
                </li>`)}
            ${(this.steps || []).slice(0, 30).map(s => this.line(s))}
            ${waiting.length || this.steps?.length ? nothing : html`<li
                class="soft">${t('log.none')}</li>`}</ol>`;
    }
}

customElements.define('lens-step-log', StepLog);
