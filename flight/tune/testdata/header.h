/* apogee_settings.h - numbers for apogee.c, printed by padlark tune.
 *
 * Rule: drop 1.50 m, 1/4, 1x, with 50 readings a second.
 * Tried on 10000 flights.
 * A name with * / in it.
 *
 * Cautions:
 * - The servo arm moves without warning when power is switched on, and when
 *   the rule releases, on the ground too. Keep fingers, faces and the
 *   parachute's lines away from it while the board has power.
 * - Try a new rule on the bench, and in a jar whose air a syringe draws out,
 *   with nothing under pressure and no motor in the rocket. Never try it with
 *   a pressurised bottle or a motor attached.
 * - The numbers hold for the flights they were tried on, at the rate of
 *   readings they were tried at. Another rocket, sensor or rate needs others.
 * - Follow your local code and what the range safety officer says.
 */
#ifndef APOGEE_SETTINGS_H
#define APOGEE_SETTINGS_H

#define APOGEE_FAMILY       1       /* 1 drop, 2 slope, 3 alpha-beta */
#define APOGEE_DROP_CM      150     /* below the highest, cm (drop only) */
#define APOGEE_SHIFT        2       /* filter gain is 1/2^this; 0 none */
#define APOGEE_SAMPLES      1       /* readings in a row */
#define APOGEE_MEDIAN       1       /* 1: middle one of three readings first */
#define APOGEE_ARM_CM       500     /* height that arms the rule, cm */
#define APOGEE_ARM_SAMPLES  2       /* readings in a row above it */
#define APOGEE_LOCKOUT_MS   700     /* no release so long after arming, ms */
#define APOGEE_BACKUP_MS    42000L  /* release so long after arming, ms; 0 none */
#define APOGEE_PAD_SHIFT    8       /* how slowly the pad is followed */
#define APOGEE_SLOPE_Q10    852     /* cm per 0.1 Pa at the pad, times 1024 */

#endif
