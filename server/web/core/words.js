// The one catalogue of texts. A text may hold {names}; {n|one|many} chooses by
// the number n. Other languages are files beside words/en.js.
import en from '../words/en.js';
import {prefs} from './prefs.js';

// A language of no people, to see what breaks from right to left.
function mirrored(words) {
    return Object.fromEntries(Object.entries(words).map(
        ([key, text]) => [key, `\u2067\u05d0 ${text} \u05ea\u2069`]));
}

export const LANGUAGES = {
    en: {name: 'English', dir: 'ltr', words: () => en},
    'en-x-mirror': {name: 'Mirrored (test)', dir: 'rtl',
        words: () => mirrored(en)},
};

let language, words;

function choose() {
    const wanted = prefs.get('language');
    if (wanted === language) return;
    language = LANGUAGES[wanted] ? wanted : 'en';
    words = LANGUAGES[language].words();
    document.documentElement.lang = language;
    document.documentElement.dir = LANGUAGES[language].dir;
}

prefs.addEventListener('change', choose);
choose();

export function t(key, values = {}) {
    const text = words[key];
    if (text === undefined) throw new Error(`no text "${key}"`);
    return text
        .replace(/\{(\w+)\|([^|}]*)\|([^}]*)\}/g,
            (_, n, one, many) => (values[n] === 1 ? one : many))
        .replace(/\{(\w+)\}/g, (_, name) => values[name] ?? '');
}

// A word of the API (a kind, a status) as people say it; unknown ones as sent.
export function word(family, value) {
    const key = `${family}.${value}`;
    return words[key] === undefined ? String(value ?? '') : words[key];
}
