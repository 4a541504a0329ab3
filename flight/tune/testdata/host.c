/* host.c - runs the firmware's code on a desktop computer, for its test. Not
 * for a board: it uses stdio.
 *
 * host say N   prints N messages, a line each: the values, the binary form in
 *              hex, the text form.
 * host rule    reads flights from stdin: a count of readings, then for each
 *              reading the clock in ms and the pressure in dPa, all 32-bit
 *              little-endian. For each flight it prints the number of the
 *              reading, from 0, at which the rule released, and the cause;
 *              "-1 0" if it did not.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "apogee.h"
#include "lark.h"

/* A small generator of numbers that are all over the place (Marsaglia's
 * xorshift, J. Stat. Software 8, 2003; from memory). */
static uint32_t any(void)
{
    static uint32_t x = 2463534242UL;
    x ^= x << 13;
    x ^= x >> 17;
    x ^= x << 5;
    return x;
}

/* Often an end of the range, else something in it. */
static uint32_t some(uint32_t most)
{
    uint32_t v = any();
    switch (any() & 7) {
    case 0:
        return 0;
    case 1:
        return most;
    case 2:
        return most & 0xFF00FF00UL;
    default:
        return most == 0xFFFFFFFFUL ? v : v % (most + 1);
    }
}

static int say(long n)
{
    while (n-- > 0) {
        struct lark m;
        uint8_t text[LARK_TEXT_MAX + 1], bin[LARK_BIN_SIZE];
        uint8_t i, len;

        m.rocket = (uint8_t)some(0xFF);
        m.boot = (uint8_t)some(0xFF);
        m.seq = (uint16_t)some(0xFFFF);
        m.clock_ms = some(0xFFFFFFFFUL);
        m.pressure_dpa = (any() & 15) == 0 ? LARK_NO_PRESSURE : some(2000000UL);
        m.temperature_cc = (int16_t)((int32_t)some(0xFFFF) - 32768);
        m.cell_mv = (uint16_t)some(0xFFFF);
        m.release_us = (uint16_t)some(0xFFFF);
        m.flags = (uint8_t)some(3);

        memset(text, 0xEE, sizeof text);
        len = lark_text(&m, text);
        lark_bin(&m, bin);
        if (len > LARK_TEXT_MAX || text[LARK_TEXT_MAX] != 0xEE) {
            fprintf(stderr, "line of %d bytes\n", (int)len);
            return 1;
        }
        printf("%u %u %u %lu %lu %d %u %u %u ", m.rocket, m.boot, m.seq, (unsigned long)m.clock_ms,
               (unsigned long)m.pressure_dpa, m.temperature_cc, m.cell_mv, m.release_us, m.flags);
        for (i = 0; i < LARK_BIN_SIZE; i++)
            printf("%02x", bin[i]);
        printf(" %.*s", (int)len, (const char *)text);
    }
    return 0;
}

static int get32(uint32_t *v)
{
    uint8_t b[4];
    if (fread(b, 1, 4, stdin) != 4)
        return 0;
    *v = (uint32_t)b[0] | (uint32_t)b[1] << 8 | (uint32_t)b[2] << 16 | (uint32_t)b[3] << 24;
    return 1;
}

static int rule(void)
{
    uint32_t n, i, ms, p;

    while (get32(&n)) {
        struct apogee o;
        long at = -1;
        enum apogee_cause cause = APOGEE_NOT_YET;

        apogee_start(&o);
        for (i = 0; i < n; i++) {
            if (!get32(&ms) || !get32(&p)) {
                fprintf(stderr, "the flight is cut short\n");
                return 1;
            }
            if (cause == APOGEE_NOT_YET) {
                cause = apogee_step(&o, ms, (int32_t)p);
                if (cause != APOGEE_NOT_YET)
                    at = (long)i;
            }
        }
        printf("%ld %d\n", at, (int)cause);
    }
    return 0;
}

int main(int argc, char **argv)
{
    if (argc == 3 && strcmp(argv[1], "say") == 0)
        return say(atol(argv[2]));
    if (argc == 2 && strcmp(argv[1], "rule") == 0)
        return rule();
    fprintf(stderr, "use: host say N, or host rule\n");
    return 2;
}
