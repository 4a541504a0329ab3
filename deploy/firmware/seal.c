/* seal.c - see seal.h. */
#include "seal.h"

static uint64_t left(uint64_t v, uint8_t by)
{
    return (v << by) | (v >> (64 - by));
}

static void rounds(uint64_t *v, uint8_t n)
{
    while (n-- != 0) {
        v[0] += v[1];
        v[1] = left(v[1], 13) ^ v[0];
        v[0] = left(v[0], 32);
        v[2] += v[3];
        v[3] = left(v[3], 16) ^ v[2];
        v[0] += v[3];
        v[3] = left(v[3], 21) ^ v[0];
        v[2] += v[1];
        v[1] = left(v[1], 17) ^ v[2];
        v[2] = left(v[2], 32);
    }
}

/* Reads up to eight bytes, the lowest first. */
static uint64_t word(const uint8_t *p, uint8_t n)
{
    uint64_t w = 0;

    while (n-- != 0)
        w = (w << 8) | p[n];
    return w;
}

uint32_t lark_seal(const uint8_t *key, const uint8_t *p, uint8_t n)
{
    uint64_t v[4], m = word(key, 8), k = word(key + 8, 8);
    uint64_t last = (uint64_t)n << 56;

    v[0] = m ^ 0x736f6d6570736575ULL;
    v[1] = k ^ 0x646f72616e646f6dULL;
    v[2] = m ^ 0x6c7967656e657261ULL;
    v[3] = k ^ 0x7465646279746573ULL;
    for (; n >= 8; n = (uint8_t)(n - 8)) {
        m = word(p, 8);
        v[3] ^= m;
        rounds(v, 2);
        v[0] ^= m;
        p += 8;
    }
    last |= word(p, n);
    v[3] ^= last;
    rounds(v, 2);
    v[0] ^= last;
    v[2] ^= 0xff;
    rounds(v, 4);
    return (uint32_t)(v[0] ^ v[1] ^ v[2] ^ v[3]);
}

uint8_t lark_sealed_text(const struct lark *m, const uint8_t *key, uint8_t *out)
{
    /* The line ends in *HH and two bytes: the seal takes their place. */
    uint8_t *p = out + lark_text(m, out) - 4;
    uint32_t seal = lark_seal(key, out + 1, (uint8_t)(p - out - 2));
    uint8_t i;

    for (i = 0; i < 8; i++) {
        uint8_t v = (uint8_t)(seal >> 28);

        *p++ = (uint8_t)(v < 10 ? '0' + v : 'A' - 10 + v);
        seal <<= 4;
    }
    *p++ = '\r';
    *p++ = '\n';
    return (uint8_t)(p - out);
}

void lark_sealed_bin(const struct lark *m, const uint8_t *key, uint8_t *out)
{
    uint8_t i, next, zero = 0;
    uint32_t seal;

    /* Put the zeros back that COBS took out. */
    lark_bin(m, out);
    for (i = 0; i < LARK_BIN_SIZE - 1; i = next) {
        next = (uint8_t)(i + out[i]);
        out[i] = 0;
    }
    seal = lark_seal(key, out + 1, LARK_BIN_SIZE - 4);
    for (i = LARK_BIN_SIZE - 3; i < LARK_SEALED_BIN_SIZE - 1; i++) {
        out[i] = (uint8_t)seal;
        seal >>= 8;
    }
    out[LARK_SEALED_BIN_SIZE - 1] = 0;
    for (i = 1; i < LARK_SEALED_BIN_SIZE; i++) {
        if (out[i] == 0) {
            out[zero] = (uint8_t)(i - zero);
            zero = i;
        }
    }
}
