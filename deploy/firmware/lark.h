/* lark.h - what a board says: encoder of lark-text and lark-bin.
 *
 * An example to copy into the firmware of a small board. C99, nothing else
 * needed; no floating point, no division, no heap, no static variables.
 *
 * lark-text is one line of ASCII, lark-bin is 24 bytes that end with a zero
 * byte. Both carry the same. Text can be read by eye on any terminal; binary
 * takes a third of the time on the air and is protected better.
 *
 * lark-text, an NMEA 0183 proprietary sentence:
 *
 *   $PLRK,7,1,42,12345,98765.4,2150,3987,1000,2*HH\r\n
 *         | | |  |     |       |    |    |    |  XOR of all between $ and *
 *         | | |  |     |       |    |    |    flags: 1 released, 2 rule armed
 *         | | |  |     |       |    |    servo pulse, us
 *         | | |  |     |       |    cell, mV
 *         | | |  |     |       temperature, 0.01 degrees Celsius
 *         | | |  |     pressure, Pa
 *         | | |  ms since boot
 *         | | number of the message
 *         | number of the boot
 *         number of the rocket          (an empty field was not measured)
 *
 * lark-bin, little-endian, before the zeros are stuffed away (COBS):
 *
 *   version u8 = 1, rocket u8, boot u8, seq u16, clock_ms u32,
 *   pressure u32 in 0.1 Pa, temperature i16 in 0.01 degrees Celsius,
 *   cell u16 in mV, servo pulse u16 in us, flags u8,
 *   CRC-16/IBM-3740 u16 over all before it
 *
 * Memory, measured with avr-gcc 5.4 -Os for an ATmega328P, where int has 16
 * bits: 19 bytes in struct lark, LARK_BIN_SIZE or LARK_TEXT_MAX bytes for the
 * message, some 30 bytes of stack, no static variables, 0.8 kB of program for
 * both forms, of which 47 bytes are constants (an AVR holds those in RAM,
 * most 16-bit controllers in flash). The whole of board.c, rule and text form
 * together, has 180 bytes of static memory and needs less than 80 of stack.
 *
 * Cautions: a board that says "armed" or "released" moves a servo arm. Keep
 * fingers, faces and lines away from it while the board has power, and try
 * everything without a pressurised bottle first. What is heard of a board is
 * no proof that it is safe to walk up to a rocket: follow your local code and
 * the range safety officer.
 */
#ifndef LARK_H
#define LARK_H

#include <stdint.h>

/* Not measured. */
#define LARK_NO_PRESSURE 0xFFFFFFFFUL
#define LARK_NO_TEMPERATURE (-32767 - 1)
#define LARK_NO_CELL 0xFFFFU
#define LARK_NO_RELEASE 0xFFFFU

/* Flags. */
#define LARK_RELEASED 1U
#define LARK_ARMED 2U

struct lark {
    uint32_t clock_ms;     /* since boot; wraps at 2^32 */
    uint32_t pressure_dpa; /* tenths of a pascal */
    uint16_t seq;          /* of the message; wraps */
    int16_t temperature_cc; /* hundredths of a degree Celsius */
    uint16_t cell_mv;
    uint16_t release_us;   /* servo pulse */
    uint8_t rocket;        /* which board: give each its own */
    uint8_t boot;          /* counts up at each boot; keep it in EEPROM */
    uint8_t flags;
};

/* The longest line, and what a binary message always has. */
#define LARK_TEXT_MAX 72
#define LARK_BIN_SIZE 24

/* Writes a line, \r\n at its end and no zero byte, into out[LARK_TEXT_MAX];
 * returns its length. */
uint8_t lark_text(const struct lark *m, uint8_t *out);

/* Writes LARK_BIN_SIZE bytes, the last of them zero, into out. */
void lark_bin(const struct lark *m, uint8_t *out);

#endif
