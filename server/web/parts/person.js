// A person in one line, always with the second identifier.
import {html, nothing} from '../core/part.js';
import {ageText, bornText} from '../core/dates.js';
import {t} from '../core/words.js';

export function nameText(person) {
    return [person?.family, person?.given].filter(Boolean).join(', ')
        || t('person.nameless');
}

export function personLine(person) {
    return html`<bdi><strong>${nameText(person)}</strong></bdi>
        <span class="soft">${person?.record_number
            ? html`<bdi class="number">${
                person.record_number}</bdi> · ` : nothing}${bornText(
            person?.born)}${person?.born
            ? html` · ${ageText(person.born)}` : nothing}</span>`;
}
