/* apogee.c - see apogee.h.
 *
 * The same arithmetic, in the same order, is what padlark tune judges. If you
 * change one you no longer have the other's numbers.
 *
 * No sum or product leaves 32 bits: the difference of two pressures is at most
 * 1.1e6, times the slope 2.09e9; heights stay within -1e5 and 7.8e5 cm, times
 * 256 below 2.0e8; the filters' states stay below 6e8. 2^31 is 2.147e9.
 */
#include "apogee.h"
#include "apogee_settings.h"

#if APOGEE_FAMILY < 1 || APOGEE_FAMILY > 3
#error "APOGEE_FAMILY must be 1 (drop), 2 (slope) or 3 (alpha-beta)"
#endif
#if APOGEE_SHIFT > 5 || (APOGEE_FAMILY != 1 && APOGEE_SHIFT < 1)
#error "APOGEE_SHIFT must be 1 to 5, or 0 to 5 for the drop rule"
#endif
#if APOGEE_SAMPLES < 1 || APOGEE_SAMPLES > 255
#error "APOGEE_SAMPLES must be 1 to 255"
#endif
#if APOGEE_ARM_SAMPLES < 1 || APOGEE_ARM_SAMPLES > 255
#error "APOGEE_ARM_SAMPLES must be 1 to 255"
#endif
#if APOGEE_SLOPE_Q10 < 500 || APOGEE_SLOPE_Q10 > 1900
#error "APOGEE_SLOPE_Q10 must be 500 to 1900"
#endif
#if APOGEE_PAD_SHIFT < 0 || APOGEE_PAD_SHIFT > 12
#error "APOGEE_PAD_SHIFT must be 0 to 12"
#endif

/* Readings outside of these are no air that a hobby rocket meets, dPa. */
#define MIN_DPA 100000L
#define MAX_DPA 1200000L

/* x / 2^k, rounded down. C99 leaves the shift of a negative number to the
 * compiler; this does not. */
static int32_t shifted(int32_t x, uint8_t k)
{
    return x < 0 ? ~(~x >> k) : x >> k;
}

/* x / 2^k to the nearest whole number, halves upwards. */
static int32_t rounded(int32_t x, uint8_t k)
{
    return k == 0 ? x : shifted(x + ((int32_t)1 << (k - 1)), k);
}

void apogee_start(struct apogee *o)
{
    o->a = 0;
    o->b = 0;
    o->pad = 0;
    o->x = 0;
    o->v = 0;
    o->top = 0;
    o->armed_ms = 0;
    o->settling = 0;
    o->settle = 0;
    o->begun = 0;
    o->armed = 0;
    o->arming = 0;
    o->count = 0;
}

/* The pressure to go on with, dPa. */
static int32_t reading(struct apogee *o, int32_t p)
{
    int32_t a, b;

    if (p < MIN_DPA || p > MAX_DPA)
        p = o->begun ? o->b : 1013250L; /* nothing better is known */
    if (!o->begun) {
        o->begun = 1;
        o->a = p;
        o->b = p;
        o->pad = p * 16;
    }
    a = o->a;
    b = o->b;
    o->a = b;
    o->b = p;
#if APOGEE_MEDIAN
    if (a > b) {
        int32_t c = a;
        a = b;
        b = c;
    }
    if (p < a)
        return a;
    if (p > b)
        return b;
#else
    (void)a;
    (void)b;
#endif
    return p;
}

/* Height above the pad in cm, of a pressure in dPa: linear, and a second term
 * that is right for 15 degrees Celsius. */
static int32_t height(const struct apogee *o, int32_t p)
{
    int32_t x = shifted((shifted(o->pad + 8, 4) - p) * APOGEE_SLOPE_Q10, 10);

    if (x < -100000L)
        x = -100000L;
    if (x > 600000L)
        x = 600000L;
    if (x > 0) {
        int32_t q = x >> 4;
        x += (q * q) >> 13;
    }
    return x;
}

/* Takes a height in cm and gives what the rule compares: the smoothed height
 * in cm for the drop rule, else a measure of the speed. */
static int32_t filter(struct apogee *o, int32_t h)
{
#if APOGEE_FAMILY == 1 && APOGEE_SHIFT == 0
    (void)o;
    return h;
#elif APOGEE_FAMILY == 1
    o->x += rounded(h * 256 - o->x, APOGEE_SHIFT);
    return rounded(o->x, 8);
#elif APOGEE_FAMILY == 2
    h *= 256;
    o->x += rounded(h - o->x, APOGEE_SHIFT);
    o->v += rounded(h - o->x - o->v, APOGEE_SHIFT);
    return o->v;
#else
    int32_t r;

    o->x += o->v;
    r = h * 256 - o->x;
    o->x += rounded(r, APOGEE_SHIFT);
    o->v += rounded(r, 2 * APOGEE_SHIFT + 1);
    return o->v;
#endif
}

/* On the pad: follow the pressure and look for the arming height. */
static void on_pad(struct apogee *o, uint32_t ms, int32_t p)
{
    if (height(o, p) >= APOGEE_ARM_CM)
        o->arming++;
    else
        o->arming = 0;
    if (o->arming >= APOGEE_ARM_SAMPLES) {
        o->armed = 1;
        o->armed_ms = ms;
        o->top = -200000L; /* below all */
        return;
    }
    o->pad += rounded(p * 16 - o->pad, o->settle);
    if (o->settle < APOGEE_PAD_SHIFT) {
        o->settling++;
        if (o->settling == (uint16_t)1 << o->settle) {
            o->settling = 0;
            o->settle++;
        }
    }
}

/* Whether the rule's condition holds for what filter gave. */
static uint8_t holds(struct apogee *o, int32_t h)
{
#if APOGEE_FAMILY == 1
    if (h > o->top)
        o->top = h;
    return o->top - h >= APOGEE_DROP_CM;
#else
    (void)o;
    return h <= 0;
#endif
}

enum apogee_cause apogee_step(struct apogee *o, uint32_t ms, int32_t dpa)
{
    int32_t p = reading(o, dpa);
    int32_t h = filter(o, height(o, p));
    uint32_t since;

    if (!o->armed) {
        on_pad(o, ms, p);
        if (!o->armed)
            return APOGEE_NOT_YET;
    }
    since = ms - o->armed_ms;
    (void)since; /* without lock-out and backup nothing asks for it */
#if APOGEE_LOCKOUT_MS > 0
    if (since < APOGEE_LOCKOUT_MS) {
        o->top = h;
        o->count = 0;
        return APOGEE_NOT_YET;
    }
#endif
    if (holds(o, h)) {
        if (o->count < APOGEE_SAMPLES)
            o->count++;
        if (o->count >= APOGEE_SAMPLES)
            return APOGEE_BY_RULE;
    } else {
        o->count = 0;
    }
#if APOGEE_BACKUP_MS > 0
    if (since >= APOGEE_BACKUP_MS)
        return APOGEE_BY_BACKUP;
#endif
    return APOGEE_NOT_YET;
}
