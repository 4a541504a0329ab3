/* seal.h - messages that only boards with the key can make.
 *
 * Anybody with a radio can send a message under any number. With a key that
 * board and station share, the station takes only what was made with it: in
 * place of the checksum stands SipHash-2-4 (Aumasson and Bernstein, 2012) of
 * the same bytes, of which 32 bits are sent. In the station's configuration
 * the layout has
 *
 *   checksum = { kind = "SipHash-2-4/32", key_file = "/etc/padlark/key" }
 *
 * and the file the same 16 bytes as 32 hex digits. Give all boards of a crew
 * one key, and keep it out of what you publish.
 *
 * C99, no division, no heap, no static variables. 32 bytes of stack for the
 * hash besides what calls need; the buffers are 6 and 2 bytes longer than
 * those of lark.h. A controller of 8 bits needs some ms for a message: 64-bit
 * sums are long for it.
 *
 * The cautions of lark.h hold here too: a key proves who sent a message, not
 * that it is safe to walk up to a rocket.
 */
#ifndef SEAL_H
#define SEAL_H

#include "lark.h"

#define LARK_KEY_SIZE 16
#define LARK_SEALED_TEXT_MAX (LARK_TEXT_MAX + 6)
#define LARK_SEALED_BIN_SIZE (LARK_BIN_SIZE + 2)

/* The low 32 bits of SipHash-2-4 of n bytes. */
uint32_t lark_seal(const uint8_t *key, const uint8_t *p, uint8_t n);

/* As lark_text and lark_bin, with the seal in place of the checksum: eight hex
 * digits after the *, or four bytes, the lowest first. */
uint8_t lark_sealed_text(const struct lark *m, const uint8_t *key, uint8_t *out);
void lark_sealed_bin(const struct lark *m, const uint8_t *key, uint8_t *out);

#endif
