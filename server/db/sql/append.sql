-- Appends of all networks; see migrations 0005 and 0009.

-- name: store_readings
SELECT ord, outcome, reading_id, patient_id, matched, first_status
FROM store_readings(
    $1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16,
    $17, $18, $19, $20, $21, $22, $23, $24, $25, $26, $27, $28, $29, $30,
    $31, $32, $33, $34, $35, $36, $37, $38, $39, $40, $41, $42, $43, $44,
    $45, $46, $47, $48, $49, $50, $51, $52, $53, $54, $55, $56, $57, $58
)

-- name: append_audit
SELECT ord
FROM append_audit($1, $2, $3, $4, $5, $6, $7, $8, $9)
