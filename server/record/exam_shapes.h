#pragma once
/*
 * record/exam_shapes.h - the sections that are noted and not computed with.
 */
#include "record/shape.h"

extern const struct record_shape RECORD_HISTORY_SHAPE[];
extern const struct record_shape RECORD_OBJECTIVE_SHAPE[];
extern const struct record_shape RECORD_BINOCULAR_SHAPE[];
extern const struct record_shape RECORD_NEAR_SHAPE[];
/* The condition under which a subjective refraction was taken. */
extern const struct record_shape RECORD_CONDITION_SHAPE[];
