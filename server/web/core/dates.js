// Days and times as people read them: day, month's name, year.
import {prefs} from './prefs.js';
import {t} from './words.js';

function locale() {
    return prefs.get('language') === 'en' ? 'en-GB' : prefs.get('language');
}

export function dayText(instant) {
    return new Intl.DateTimeFormat(locale(), {day: 'numeric', month: 'short',
        year: 'numeric'}).format(new Date(instant));
}

export function timeText(instant) {
    return new Intl.DateTimeFormat(locale(), {hour: '2-digit',
        minute: '2-digit', hour12: false}).format(new Date(instant));
}

// A FHIR date: a year, a year and month, or a day.
export function bornText(born) {
    if (!born) return t('person.born-unknown');
    const [year, month, day] = born.split('-').map(Number);
    if (!month) return String(year);
    const options = {month: 'short', year: 'numeric', timeZone: 'UTC'};
    if (day) options.day = 'numeric';
    return new Intl.DateTimeFormat(locale(), options).format(
        new Date(Date.UTC(year, month - 1, day || 1)));
}

// In whole years, months under two years; '' where the day isn't known.
export function ageText(born, now = new Date()) {
    const parts = (born || '').split('-').map(Number);
    if (parts.length < 3)
        return parts[0] ? t('person.age-about',
            {n: now.getFullYear() - parts[0]}) : '';
    let months = (now.getFullYear() - parts[0]) * 12
        + now.getMonth() + 1 - parts[1];
    if (now.getDate() < parts[2]) months--;
    return months < 24 ? t('person.age-months', {n: months})
        : t('person.age', {n: Math.floor(months / 12)});
}

// Whole years where at least the year is known, else undefined.
export function yearsOf(born, now = new Date()) {
    const [year, month = 1, day = 1] = (born || '').split('-').map(Number);
    if (!year) return undefined;
    const past = now.getMonth() + 1 > month
        || (now.getMonth() + 1 === month && now.getDate() >= day);
    return Math.max(0, now.getFullYear() - year - (past ? 0 : 1));
}

// How long ago, in the unit that says it: for "each with age".
export function agoText(instant, now = Date.now()) {
    const minutes = Math.max(0, Math.round((now - new Date(instant)) / 60000));
    if (minutes < 60) return t('ago.minutes', {n: minutes});
    if (minutes < 60 * 24) return t('ago.hours', {n: Math.round(minutes / 60)});
    const days = Math.round(minutes / 1440);
    if (days < 61) return t('ago.days', {n: days});
    if (days < 730) return t('ago.months', {n: Math.round(days / 30.4)});
    return t('ago.years', {n: Math.round(days / 365.25)});
}

// The calendar's day here, as the API's ?date takes it.
export function today() {
    const now = new Date();
    return [now.getFullYear(), now.getMonth() + 1, now.getDate()].map(
        n => String(n).padStart(2, '0')).join('-');
}
