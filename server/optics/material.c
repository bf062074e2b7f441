#include "optics/make.h"

#include <stddef.h>

const char *const OPTICS_MATERIALS[] = {
    "resin", "polycarbonate", "polyurethane", "mineral", NULL};

enum optics_fault optics_density(
    enum optics_material material, double index, double *ret_g_cm3)
{
    static const struct {
        enum optics_material material;
        double low, high, g_cm3;
    } rows[] = {
        {OPTICS_RESIN, 1.49, 1.57, 1.32},
        {OPTICS_POLYCARBONATE, 1.58, 1.60, 1.20},
        {OPTICS_POLYURETHANE, 1.52, 1.54, 1.11},
        {OPTICS_POLYURETHANE, 1.59, 1.68, 1.35},
        {OPTICS_MINERAL, 1.50, 1.54, 2.54},
    };

    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
        if (rows[i].material == material && index >= rows[i].low &&
            index <= rows[i].high) {
            *ret_g_cm3 = rows[i].g_cm3;
            return OPTICS_OK;
        }
    return OPTICS_BAD_NO_DENSITY;
}

enum optics_fault optics_least_fitting_height(
    double corridor_mm, double near_zone_mm, double *ret_mm)
{
    enum optics_fault fault = optics_fault_first((struct optics_arg[]){
        {OPTICS_BAD_CORRIDOR_MM, corridor_mm},
        {OPTICS_BAD_NEAR_ZONE_MM, near_zone_mm},
        {OPTICS_OK, 0},
    });

    if (fault == OPTICS_OK)
        *ret_mm = corridor_mm + near_zone_mm;
    return fault;
}
