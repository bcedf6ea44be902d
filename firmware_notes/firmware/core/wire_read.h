/* Lines of the wire, read as strictly as the host reads them.
 *
 * A device has no need of this; it is here so that the writer can be proved against a
 * reader of its own, and for whoever wants a display of his own on the line.
 */
#ifndef TL_WIRE_READ_H
#define TL_WIRE_READ_H

#include <stddef.h>
#include <stdint.h>

enum tl_kind {
    TL_SAMPLE,
    TL_HELLO,
    TL_EVENT,
    TL_FAULT,
    TL_COMMENT,
    TL_UNKNOWN,
    TL_BAD_FORM,
    TL_BAD_CRC,
    TL_BAD_TOO_LONG
};

/* A piece of the line that was read; it lives as long as the line does. */
struct tl_text {
    const char *at;
    size_t size;
};

struct tl_line {
    enum tl_kind kind;
    uint16_t seq;
    uint32_t t_us;
    int32_t counts;
    struct tl_text text; /* name, fault, comment, or all before the last asterisk */
    struct tl_text proto, device, firmware, rate, adc_bits, boot;
};

/* Read one line without its LF; a CR at its end is passed over. */
enum tl_kind tl_read(const char *line, size_t size, struct tl_line *out);

#endif
