// The visits of one day at the user's clinic. Sends "chosen" with a patient.
import {css, html, look, nothing, Part} from '../core/part.js';
import {dayText, timeText, today} from '../core/dates.js';
import {session} from '../core/session.js';
import {Watch} from '../core/store.js';
import {t, word} from '../core/words.js';
import {personLine} from './person.js';

class DayList extends Part {
    static properties = {day: {state: true}, patient: {}};

    static styles = [look, css`
        ol {
            list-style: none;
            margin: 0.5rem 0 0;
            padding: 0;
            display: grid;
            gap: 0.3rem;
        }
        li button {
            width: 100%;
            display: grid;
            grid-template-columns: 3.4rem 1fr;
            text-align: start;
            justify-items: start;
            gap: 0 0.6rem;
            padding-block: 0.4rem;
        }
        .what {
            grid-column: 2;
        }
        .gone {
            text-decoration: line-through;
        }
    `];

    day = today();
    visits = new Watch(this, () => `/v1/visits?date=${this.day}&limit=200`
        + (session.me.clinic ? `&clinic=${session.me.clinic}` : ''));

    move(days) {
        const at = new Date(`${this.day}T12:00:00Z`);
        at.setUTCDate(at.getUTCDate() + days);
        this.day = at.toISOString().slice(0, 10);
    }

    row(visit) {
        const off = visit.status === 'cancelled';
        return html`<li><button aria-current=${
            visit.patient === this.patient ? 'true' : nothing}
            @click=${() => this.dispatchEvent(new CustomEvent('chosen',
                {detail: {id: visit.patient}}))}>
            <span class="figure">${timeText(visit.at)}</span>
            <span class=${off ? 'gone' : ''}>${personLine(visit.person)}</span>
            <span class="what soft">${word('visit', visit.status)}${visit.reason
                ? html` · ${visit.reason}` : nothing}</span>
        </button></li>`;
    }

    render() {
        const items = [...(this.visits.value?.items || [])].reverse();
        return html`<div class="row">
                <h2>${t('day.title')}</h2>
                <button @click=${() => this.move(-1)}
                    aria-label=${t('day.before')}>‹</button>
                <span>${dayText(`${this.day}T12:00:00`)}</span>
                <button @click=${() => this.move(1)}
                    aria-label=${t('day.after')}>›</button>
            </div>
            ${this.visits.fault ? html`<p class="fault">${t('fault.offline')}
                </p>` : nothing}
            <ol>${items.map(v => this.row(v))}</ol>
            ${this.visits.value && !items.length ? html`<p class="soft">
                ${t('day.empty')}</p>` : nothing}`;
    }
}

customElements.define('lens-day-list', DayList);
