// People and findings for the cases, made through the API.
import {randomUUID} from 'node:crypto';

let n = 0;

export function number() {
    return `P-${++n}-${randomUUID().slice(0, 6)}`;
}

export async function person(s, more = {}) {
    return s.api('desk', 'POST', '/v1/patients', {record_number: number(),
        family: 'Marlowe-Quist', given: 'Tamsin', born: '1971-02-09', ...more});
}

export const REFRACTION = {
    right: {sphere: -2.25, cylinder: -0.75, axis: 172},
    left: {sphere: -1.5, cylinder: -0.5, axis: 8},
};

export function reading(who, more = {}) {
    return {kind: 'autorefraction', taken_at: new Date().toISOString(),
        vertex_mm: 12, ...(who ? {patient: who} : {}), ...REFRACTION,
        pd_mm: {right: 31.5, left: 31}, ...more};
}

export async function measured(s, patient, more) {
    return s.api('device', 'POST', '/v1/readings',
        reading({record_number: patient.record_number}, more));
}

export const GLASSES = {
    kind: 'lensometry', right: {sphere: -2, cylinder: -0.5, axis: 175},
    left: {sphere: -1.25, cylinder: -0.25, axis: 10}, pd_mm: undefined,
};

export async function visit(s, patient) {
    return s.api('desk', 'POST', '/v1/visits',
        {patient: patient.id, reason: 'yearly visit'});
}

export async function exam(s, patient) {
    const {id} = await visit(s, patient);
    return s.api('prescriber', 'POST', '/v1/exams', {visit: id});
}

export async function started(s, patient, source) {
    const made = await exam(s, patient);
    return s.api('prescriber', 'POST', `/v1/exams/${made.id}/start-from`,
        {source: source.id}, {'If-Match': made.etag});
}

export async function signed(s, patient, source) {
    const made = await started(s, patient, source);
    return s.api('prescriber', 'POST', `/v1/exams/${made.id}/sign`, {},
        {'If-Match': made.etag});
}
