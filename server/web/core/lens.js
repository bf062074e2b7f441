// Steps of a power as the service counts them: an eighth of a dioptre is
// written with two decimals, cut, and means the true eighth.
const NEAR = 1e-9;

export function truePower(value) {
    const eighths = Math.round(value * 8);
    return Math.abs(written(eighths / 8) - value) < NEAR ? eighths / 8 : value;
}

export function written(power) {
    const eighths = power * 8;
    const whole = Math.abs(eighths - Math.round(eighths)) < NEAR;
    const cents = whole ? Math.trunc(Math.round(eighths) * 12.5)
        : Math.round(power * 100);
    return cents / 100 + 0; // never -0
}

// The power one step on; size is 0.25, 0.125 or 0.5.
export function stepped(value, size, way) {
    const at = truePower(value ?? 0) / size;
    // From between two rungs to the next one of that way.
    const next = way > 0 ? Math.floor(at + 1 + NEAR) : Math.ceil(at - 1 - NEAR);
    return written(next * size);
}

// The axis turned by so many degrees: 1 to 180.
export function turned(axis, degrees) {
    return ((axis - 1 + degrees) % 180 + 180) % 180 + 1;
}

// The sphere that keeps the spherical equivalent when the cylinder changes.
function heldSphere(eye, cylinder) {
    return written(truePower(eye.sphere)
        + (truePower(eye.cylinder || 0) - truePower(cylinder)) / 2);
}

const PRISM = {prism_horizontal: ['in', 'out'], prism_vertical: ['up', 'down']};

export function prismPart(eye, field) {
    return (eye?.prism || []).find(p => PRISM[field].includes(p.base)) ?? null;
}

// What stands in a field of an eye, as a step's "from".
export function standing(working, side, field) {
    const eye = working?.[side];
    if (PRISM[field]) return prismPart(eye, field);
    if (field === 'vertex_mm') return working?.vertex_mm ?? null;
    if (field === 'lens') return eye ? eye.lens ?? 'power' : null;
    return eye?.[field] ?? null;
}

function withField(eye, step, to) {
    const {field} = step;
    if (PRISM[field])
        return {...eye, prism: [...(eye.prism || []).filter(
            p => !PRISM[field].includes(p.base)), ...(to ? [to] : [])]};
    if (field !== 'cylinder') return {...eye, [field]: to};
    return {...eye, cylinder: to,
        axis: to ? step.axis ?? eye.axis ?? 180 : null,
        ...(step.hold_equivalent ? {sphere: heldSphere(eye, to)} : {})};
}

function ofSide(figure, side) {
    return figure && typeof figure === 'object' && !Array.isArray(figure)
        && ('right' in figure || 'left' in figure) ? figure[side] : figure;
}

// The working refraction after a step that the service has yet to take.
export function applied(working, step) {
    if (step.field === 'vertex_mm') return {...working, vertex_mm: step.to};
    const next = {...working};
    for (const side of ['right', 'left']) {
        if (step.eye !== 'both' && step.eye !== side) continue;
        const eye = next[side] ?? {sphere: 0, cylinder: 0, axis: null};
        next[side] = withField(eye, step, ofSide(step.to, side));
    }
    return next;
}
