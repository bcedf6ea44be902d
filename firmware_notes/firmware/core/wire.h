/* Lines of the wire, written. The one description is shared/wire.md.
 *
 * Every function writes one line, its LF included, and returns how long it is, or 0 where
 * the wire has no way to say it (a comma in a name, a byte beyond ASCII, more than 96
 * bytes). Nothing is allocated, nothing is a floating-point number.
 */
#ifndef TL_WIRE_H
#define TL_WIRE_H

#include <stdint.h>

enum {
    TL_MAX_LINE = 96,          /* without its LF */
    TL_ROOM = TL_MAX_LINE + 1, /* with it */
    TL_PROTO = 1
};

/* Who the device is; rate_mhz is in thousandths of a hertz, so that 92.8 can be said. */
struct tl_identity {
    const char *device;
    const char *firmware;
    const char *boot;
    uint32_t rate_mhz;
    uint32_t proto;
    uint32_t adc_bits;
};

uint16_t tl_crc(uint16_t crc, const char *bytes, uint8_t size);

uint8_t tl_say_sample(char line[TL_ROOM], uint16_t seq, uint32_t t_us, int32_t counts);
uint8_t tl_say_hello(char line[TL_ROOM], const struct tl_identity *who);
uint8_t tl_say_event(char line[TL_ROOM], uint16_t seq, uint32_t t_us, const char *name);
uint8_t tl_say_fault(char line[TL_ROOM], uint16_t seq, uint32_t t_us, const char *fault);
uint8_t tl_say_comment(char line[TL_ROOM], const char *text);

/* A comment that carries two figures, each behind its words. */
uint8_t tl_say_figures(char line[TL_ROOM], const char *words, uint32_t figure,
                       const char *more_words, uint32_t another);

/* Length of the longest sample line of a converter this wide, LF included. */
uint8_t tl_longest_sample(uint8_t adc_bits);

/* Bits per second that this many samples need on a line of 8N1: ten bits a byte. */
uint32_t tl_bits_per_s(uint32_t rate_mhz, uint8_t adc_bits);

/* Whether they leave a twentieth of the line for everything else that is said. */
uint8_t tl_carries(uint32_t baud, uint32_t rate_mhz, uint8_t adc_bits);

#endif
