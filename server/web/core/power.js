// Figures as people write them and as they are spoken. Powers in dioptres.
import {prefs} from './prefs.js';
import {t} from './words.js';

const MINUS = '\u2212';

function mark(text) {
    return text.replace('.', prefs.get('mark'));
}

// A plain number with its places: 12.5 mm, a PD.
export function figure(value, places = 2) {
    const text = Math.abs(value).toFixed(places);
    return mark((value < 0 && Number(text) !== 0 ? MINUS : '') + text);
}

// With its sign always: "−2.25", "+1.00"; 0 is "0.00".
export function signed(value, places = 2) {
    const text = Math.abs(value).toFixed(places);
    if (Number(text) === 0) return mark(text);
    return mark((value < 0 ? MINUS : '+') + text);
}

export function sphereText(value) {
    return Number(value) === 0 ? t('power.plano') : signed(value);
}

export function axisText(value) {
    return Number.isInteger(value) ? String(value).padStart(3, '0')
        : mark(value.toFixed(1).padStart(5, '0'));
}

// "minus 2.50": never a hyphen to whoever listens.
export function spoken(value, places = 2) {
    const text = mark(Math.abs(value).toFixed(places));
    if (Number(Math.abs(value).toFixed(places)) === 0)
        return t('spoken.zero', {text});
    return t(value < 0 ? 'spoken.minus' : 'spoken.plus', {text});
}

export function sphereSpoken(value) {
    return Number(value) === 0 ? t('power.plano') : spoken(value);
}

function prismText(parts, say) {
    return (parts || []).map(p => t(say ? 'spoken.prism' : 'power.prism', {
        amount: figure(p.amount), base: t(`base.${p.base}`)}));
}

// One eye in one line, for reading (say: for listening).
export function eyeText(eye, say = false) {
    if (!eye) return t('power.absent');
    if (eye.lens && eye.lens !== 'power') return t(`lens.${eye.lens}`);
    if (typeof eye.sphere !== 'number') return t('power.absent');
    const parts = [say ? t('spoken.sphere', {text: sphereSpoken(eye.sphere)})
        : sphereText(eye.sphere)];
    if (eye.cylinder) {
        const axis = eye.axis;
        parts.push(say
            ? t('spoken.cylinder', {text: spoken(eye.cylinder), axis})
            : `${signed(eye.cylinder)} \u00d7 ${axisText(axis)}`);
    }
    if (eye.add)
        parts.push(say ? t('spoken.add', {text: spoken(eye.add)})
            : t('power.add', {text: signed(eye.add)}));
    parts.push(...prismText(eye.prism, say));
    return parts.join(say ? ', ' : ' \u2002');
}

// The number that was typed, with either mark and either minus; NaN if none.
export function parsed(text) {
    const plain = text.trim().replace(/[\u2212\u2013]/g, '-').replace(',', '.')
        .replace(/\s/g, '');
    if (plain.toLowerCase() === t('power.plano').toLowerCase()) return 0;
    return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
}
