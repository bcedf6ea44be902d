#include "wire_read.h"

#include "wire.h"

enum { CHECKSUM = 4, MOST_DIGITS = 10 };

static int is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* No plus sign, no leading zero, at most ten digits. */
static int is_natural(struct tl_text text)
{
    if (text.size == 0 || text.size > MOST_DIGITS || (text.at[0] == '0' && text.size > 1))
        return 0;
    for (size_t i = 0; i < text.size; i++)
        if (!is_digit(text.at[i]))
            return 0;
    return 1;
}

static int natural(struct tl_text text, uint64_t most, uint64_t *number)
{
    if (!is_natural(text))
        return 0;
    *number = 0;
    for (size_t i = 0; i < text.size; i++)
        *number = *number * 10 + (uint64_t)(text.at[i] - '0');
    return *number <= most;
}

static int counts_of(struct tl_text text, int32_t *counts)
{
    int negative = text.size > 1 && text.at[0] == '-';
    struct tl_text digits = {text.at + negative, text.size - (size_t)negative};
    uint64_t size;

    if (!natural(digits, negative ? 2147483648u : 2147483647u, &size) || (negative && !size))
        return 0;
    *counts = negative ? (int32_t)(-(int64_t)size) : (int32_t)size;
    return 1;
}

static int is_rate(struct tl_text text)
{
    size_t point = 0;

    while (point < text.size && text.at[point] != '.')
        point++;
    if (!is_natural((struct tl_text){text.at, point}))
        return 0;
    for (size_t i = point + 1; i < text.size; i++)
        if (!is_digit(text.at[i]))
            return 0;
    return point == text.size || point + 1 < text.size;
}

/* Take the piece before the next comma, or all that is left; 0 where nothing is left. */
static int take(struct tl_text *rest, struct tl_text *piece)
{
    if (!rest->at)
        return 0;
    piece->at = rest->at;
    for (piece->size = 0; piece->size < rest->size; piece->size++)
        if (rest->at[piece->size] == ',')
            break;
    if (piece->size == rest->size) {
        rest->at = NULL;
        return 1;
    }
    rest->at += piece->size + 1;
    rest->size -= piece->size + 1;
    return 1;
}

static int read_stamp(struct tl_text *rest, struct tl_line *out)
{
    struct tl_text seq, t_us;
    uint64_t number;

    if (!take(rest, &seq) || !take(rest, &t_us) || !natural(seq, 65535u, &number))
        return 0;
    out->seq = (uint16_t)number;
    if (!natural(t_us, 4294967295u, &number))
        return 0;
    out->t_us = (uint32_t)number;
    return 1;
}

static int read_sample(struct tl_text rest, struct tl_line *out)
{
    struct tl_text counts;

    return read_stamp(&rest, out) && take(&rest, &counts) && !rest.at &&
           counts_of(counts, &out->counts);
}

static int read_named(struct tl_text rest, struct tl_line *out)
{
    return read_stamp(&rest, out) && take(&rest, &out->text) && !rest.at && out->text.size;
}

static int read_hello(struct tl_text rest, struct tl_line *out)
{
    if (!take(&rest, &out->proto) || !take(&rest, &out->device) ||
        !take(&rest, &out->firmware) || !take(&rest, &out->rate) ||
        !take(&rest, &out->adc_bits) || !take(&rest, &out->boot) || rest.at)
        return 0;
    return is_natural(out->proto) && out->device.size && is_rate(out->rate) &&
           is_natural(out->adc_bits) && out->boot.size;
}

static enum tl_kind sound(struct tl_text body, struct tl_line *out)
{
    struct tl_text rest = body, kind;

    for (size_t i = 0; i < body.size; i++)
        if ((body.at[i] < 0x20 && body.at[i] != '\t') || body.at[i] > 0x7e)
            return TL_BAD_FORM;
    take(&rest, &kind);
    out->text = body;
    if (kind.size != 1)
        return kind.size ? TL_UNKNOWN : TL_BAD_FORM;
    switch (kind.at[0]) {
    case 'S':
        return read_sample(rest, out) ? TL_SAMPLE : TL_BAD_FORM;
    case 'H':
        return read_hello(rest, out) ? TL_HELLO : TL_BAD_FORM;
    case 'E':
        return read_named(rest, out) ? TL_EVENT : TL_BAD_FORM;
    case 'F':
        return read_named(rest, out) ? TL_FAULT : TL_BAD_FORM;
    case 'K':
        out->text = rest;
        return rest.at ? TL_COMMENT : TL_BAD_FORM;
    default:
        return TL_UNKNOWN;
    }
}

static int checksum_of(const char *digits, uint16_t *checksum)
{
    *checksum = 0;
    for (int i = 0; i < CHECKSUM; i++) {
        char c = digits[i];

        if (!is_digit(c) && !(c >= 'A' && c <= 'F'))
            return 0;
        *checksum = (uint16_t)(*checksum << 4 | (is_digit(c) ? c - '0' : c - 'A' + 10));
    }
    return 1;
}

static enum tl_kind kind_of(const char *line, size_t size, struct tl_line *out)
{
    uint16_t checksum;
    size_t body;

    if (size && line[size - 1] == '\r')
        size--;
    if (size > TL_MAX_LINE)
        return TL_BAD_TOO_LONG;
    if (size < CHECKSUM + 1 || line[size - CHECKSUM - 1] != '*')
        return TL_BAD_FORM;
    body = size - CHECKSUM - 1;
    if (!checksum_of(line + body + 1, &checksum))
        return TL_BAD_FORM;
    if (tl_crc(0, line, (uint8_t)body) != checksum)
        return TL_BAD_CRC;
    return sound((struct tl_text){line, body}, out);
}

enum tl_kind tl_read(const char *line, size_t size, struct tl_line *out)
{
    out->kind = kind_of(line, size, out);
    return out->kind;
}
