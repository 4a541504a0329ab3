/* lark.c - see lark.h. */
#include "lark.h"

/* Powers of ten from 10^9 down: digits are found by subtraction, since a
 * small controller has no divider. */
static const uint32_t tens[10] = {
    1000000000UL, 100000000UL, 10000000UL, 1000000UL, 100000UL,
    10000UL, 1000UL, 100UL, 10UL, 1UL
};

/* Writes v with a point before the last so many digits; returns the end. */
static uint8_t *decimal(uint8_t *p, uint32_t v, uint8_t after)
{
    uint8_t i, begun = 0;

    for (i = 0; i < 10; i++) {
        uint8_t digit = '0';
        uint8_t left = (uint8_t)(9 - i); /* digits that follow */

        while (v >= tens[i]) {
            v -= tens[i];
            digit++;
        }
        if (digit != '0' || left <= after)
            begun = 1;
        if (begun)
            *p++ = digit;
        if (after != 0 && left == after)
            *p++ = '.';
    }
    return p;
}

static uint8_t hex(uint8_t v)
{
    v &= 15;
    return (uint8_t)(v < 10 ? '0' + v : 'A' - 10 + v);
}

uint8_t lark_text(const struct lark *m, uint8_t *out)
{
    static const uint8_t head[7] = { '$', 'P', 'L', 'R', 'K', ',', 0 };
    uint8_t *p = out, *q;
    const uint8_t *s = head;
    uint8_t sum = 0;

    while (*s != 0)
        *p++ = *s++;
    p = decimal(p, m->rocket, 0);
    *p++ = ',';
    p = decimal(p, m->boot, 0);
    *p++ = ',';
    p = decimal(p, m->seq, 0);
    *p++ = ',';
    p = decimal(p, m->clock_ms, 0);
    *p++ = ',';
    if (m->pressure_dpa != LARK_NO_PRESSURE)
        p = decimal(p, m->pressure_dpa, 1);
    *p++ = ',';
    if (m->temperature_cc != LARK_NO_TEMPERATURE) {
        int16_t t = m->temperature_cc;
        if (t < 0) {
            *p++ = '-';
            t = (int16_t)-t;
        }
        p = decimal(p, (uint32_t)t, 0);
    }
    *p++ = ',';
    if (m->cell_mv != LARK_NO_CELL)
        p = decimal(p, m->cell_mv, 0);
    *p++ = ',';
    if (m->release_us != LARK_NO_RELEASE)
        p = decimal(p, m->release_us, 0);
    *p++ = ',';
    p = decimal(p, m->flags, 0);
    for (q = out + 1; q < p; q++)
        sum ^= *q;
    *p++ = '*';
    *p++ = hex((uint8_t)(sum >> 4));
    *p++ = hex(sum);
    *p++ = '\r';
    *p++ = '\n';
    return (uint8_t)(p - out);
}

static uint8_t *put16(uint8_t *p, uint16_t v)
{
    *p++ = (uint8_t)v;
    *p++ = (uint8_t)(v >> 8);
    return p;
}

static uint8_t *put32(uint8_t *p, uint32_t v)
{
    return put16(put16(p, (uint16_t)v), (uint16_t)(v >> 16));
}

/* CRC-16/IBM-3740: polynomial 0x1021, from 0xFFFF, highest bit first. Its
 * check value, over the digits 1 to 9, is 0x29B1. */
static uint16_t crc16(const uint8_t *p, uint8_t n)
{
    uint16_t crc = 0xFFFF;
    uint8_t bit;

    while (n-- != 0) {
        crc ^= (uint16_t)((uint16_t)*p++ << 8);
        for (bit = 0; bit < 8; bit++) {
            if ((crc & 0x8000U) != 0)
                crc = (uint16_t)((uint16_t)(crc << 1) ^ 0x1021U);
            else
                crc = (uint16_t)(crc << 1);
        }
    }
    return crc;
}

void lark_bin(const struct lark *m, uint8_t *out)
{
    /* The message lies one byte into the buffer: COBS needs that byte, and
     * then only puts distances where zeros were (Cheshire and Baker, 1999). */
    uint8_t *p = out + 1;
    uint8_t i, zero = 0;

    *p++ = 1;
    *p++ = m->rocket;
    *p++ = m->boot;
    p = put16(p, m->seq);
    p = put32(p, m->clock_ms);
    p = put32(p, m->pressure_dpa);
    p = put16(p, (uint16_t)m->temperature_cc);
    p = put16(p, m->cell_mv);
    p = put16(p, m->release_us);
    *p++ = m->flags;
    p = put16(p, crc16(out + 1, (uint8_t)(p - out - 1)));
    *p = 0;
    for (i = 1; i < LARK_BIN_SIZE; i++) {
        if (out[i] == 0) {
            out[zero] = (uint8_t)(i - zero);
            zero = i;
        }
    }
}
