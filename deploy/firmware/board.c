/* board.c - how lark.c and apogee.c are put together: a board's main loop.
 *
 * The sensor, the clock, the radio and the servo of this example are stand-ins
 * at the top: replace them with your own. It compiles for an AVR, where the
 * radio is the serial port, and for a desktop computer, where it is the
 * standard output; a test compares the two.
 *
 * Cautions: see apogee.h. Switch servo power on last, on the pad; try all of it
 * on the bench and in a jar with a syringe, never with a pressurised bottle
 * attached.
 */
#include "apogee.h"
#include "lark.h"

#ifdef __AVR__
#include <avr/io.h>
#include <avr/interrupt.h>
#include <avr/sleep.h>

static void send(const uint8_t *p, uint8_t n)
{
    UCSR0B = (uint8_t)(1 << TXEN0);
    while (n-- != 0) {
        while ((UCSR0A & (1 << UDRE0)) == 0)
            ;
        UDR0 = *p++;
    }
}

static void halt(void)
{
    cli();
    sleep_mode();
}
#else
#include <stdio.h>

static void send(const uint8_t *p, uint8_t n) { fwrite(p, 1, n, stdout); }
static void halt(void) {}
#endif

/* A stand-in for the sensor: three seconds of pad, a climb of 3.3 s to some
 * 58 m, and the fall; with noise of up to 6 Pa. Reading i, 50 a second; dPa. */
static int32_t sensor(uint16_t i)
{
    static uint32_t noise = 2463534242UL;
    int32_t d = (int32_t)i - 320, h = 14000;

    noise ^= noise << 13;
    noise ^= noise >> 17;
    noise ^= noise << 5;
    h -= (d * d) >> 1;
    if (h < 0)
        h = 0;
    return 1001000L - (h >> 1) + (int32_t)(noise & 127) - 64;
}

/* A stand-in for the servo: the pulse that it is given, us. */
static uint16_t pulse = 1000;

static struct apogee rule;
static struct lark message;
static uint8_t line[LARK_TEXT_MAX];

int main(void)
{
    uint16_t i;
    uint8_t skipped = 0;

    apogee_start(&rule);
    message.rocket = 7;
    message.boot = 1;
    message.temperature_cc = 1525;
    message.cell_mv = LARK_NO_CELL; /* this board does not measure it */
    for (i = 0; i < 470; i++) {
        int32_t dpa = sensor(i);
        uint32_t ms = (uint32_t)i * 20;

        if ((message.flags & LARK_RELEASED) == 0
            && apogee_step(&rule, ms, dpa) != APOGEE_NOT_YET) {
            message.flags |= LARK_RELEASED;
            pulse = 1900;
        }
        if (rule.armed)
            message.flags |= LARK_ARMED;
        if (++skipped == 5) { /* the rule sees all readings, the radio some */
            skipped = 0;
            message.clock_ms = ms;
            message.pressure_dpa = (uint32_t)dpa;
            message.release_us = pulse;
            send(line, lark_text(&message, line));
            message.seq++;
        }
    }
    halt();
    return 0;
}
