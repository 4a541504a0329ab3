/* apogee.h - when to let the parachute out: whole-number apogee rule.
 *
 * An example to copy into the firmware of a small board, together with the
 * apogee_settings.h that "padlark tune --header" writes. C99, nothing else
 * needed; no floating point, no division, no memory of its own.
 *
 * Cautions:
 * - This code only says when. What it moves is yours: the servo arm moves
 *   without warning when power is switched on and when the rule releases, on
 *   the ground too. Keep fingers, faces and the parachute's lines away from it
 *   while the board has power.
 * - Try it on the bench, and in a jar whose air a syringe draws out, with
 *   nothing under pressure. Never try it with a pressurised bottle attached.
 * - A rocket that comes down without its parachute can badly hurt people. Use
 *   it where your local code and the range safety officer let you, and give
 *   the rule a backup time.
 * - A wind, a door or a thumb on the vent can look like a launch. Switch the
 *   release on last, on the pad.
 *
 * Use:
 *     static struct apogee rule;
 *     apogee_start(&rule);
 *     for each reading, at the rate the settings were made for:
 *         if (apogee_step(&rule, now_ms, pressure_dpa) != APOGEE_NOT_YET)
 *             move the servo;          and call apogee_step no more
 *
 * Memory, measured with avr-gcc 5.4 -Os for an ATmega328P, where int has 16
 * bits: 35 bytes in struct apogee, some 50 bytes of stack, no static
 * variables, 1.1 kB of program. Other controllers need about as much.
 */
#ifndef APOGEE_H
#define APOGEE_H

#include <stdint.h>

enum apogee_cause {
    APOGEE_NOT_YET = 0,
    APOGEE_BY_RULE = 1,
    APOGEE_BY_BACKUP = 2
};

/* One rule at work. Only apogee.c looks inside. */
struct apogee {
    int32_t a, b;       /* the two readings before, dPa */
    int32_t pad;        /* pressure at the pad, dPa times 16 */
    int32_t x, v;       /* filter */
    int32_t top;        /* the highest, cm */
    uint32_t armed_ms;  /* when it was armed */
    uint16_t settling;
    uint8_t settle;
    uint8_t begun;
    uint8_t armed;
    uint8_t arming;     /* readings in a row above the arming height */
    uint8_t count;      /* readings in a row for which the rule held */
};

/* Once, after power is on. */
void apogee_start(struct apogee *o);

/* One reading: a clock in ms that may wrap at 2^32, and the pressure in dPa
 * (tenths of a pascal; 10 times what most sensors give in Pa). */
enum apogee_cause apogee_step(struct apogee *o, uint32_t ms, int32_t dpa);

#endif
