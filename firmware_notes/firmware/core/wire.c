#include "wire.h"

#include <stddef.h>

/* A line that is being written. `bad` stands once something could not be said. */
struct pen {
    char *line;
    uint8_t size;
    uint8_t bad;
};

static const uint32_t TENS[] = {
    1000000000UL, 100000000UL, 10000000UL, 1000000UL, 100000UL, 10000UL, 1000UL, 100UL, 10UL,
};

uint16_t tl_crc(uint16_t crc, const char *bytes, uint8_t size)
{
    while (size--) {
        crc = (uint16_t)(crc ^ ((uint16_t)(uint8_t)*bytes++ << 8));
        for (uint8_t bit = 0; bit < 8; bit++)
            crc = (uint16_t)(crc << 1) ^ (crc & 0x8000u ? 0x1021u : 0u);
    }
    return crc;
}

static void put(struct pen *pen, char c)
{
    if (pen->size < TL_MAX_LINE)
        pen->line[pen->size++] = c;
    else
        pen->bad = 1;
}

/* Subtraction instead of division: a small controller divides 32 bits in hundreds of cycles. */
static void put_number(struct pen *pen, uint32_t number)
{
    uint8_t begun = 0;

    for (uint8_t i = 0; i < sizeof TENS / sizeof *TENS; i++) {
        char digit = '0';

        while (number >= TENS[i]) {
            number -= TENS[i];
            digit++;
        }
        begun |= digit != '0';
        if (begun)
            put(pen, digit);
    }
    put(pen, (char)('0' + number));
}

static void put_signed(struct pen *pen, int32_t number)
{
    uint32_t size = (uint32_t)number;

    if (number < 0) {
        put(pen, '-');
        size = 0u - size; /* of unsigned numbers: the lowest has no positive twin */
    }
    put_number(pen, size);
}

static void put_text(struct pen *pen, const char *text)
{
    for (; *text && !pen->bad; text++) {
        char c = *text;

        if ((c < 0x20 && c != '\t') || c > 0x7e)
            pen->bad = 1;
        put(pen, c);
    }
}

static void put_name(struct pen *pen, const char *name, uint8_t may_be_empty)
{
    if (!*name && !may_be_empty)
        pen->bad = 1;
    for (const char *c = name; *c; c++)
        if (*c == ',')
            pen->bad = 1;
    put_text(pen, name);
}

static void put_rate(struct pen *pen, uint32_t rate_mhz)
{
    uint16_t rest = (uint16_t)(rate_mhz % 1000u);

    put_number(pen, rate_mhz / 1000u);
    if (!rest)
        return;
    put(pen, '.');
    for (uint16_t tens = 100; rest; tens /= 10) {
        put(pen, (char)('0' + rest / tens));
        rest = (uint16_t)(rest % tens);
    }
}

static struct pen begin(char *line, char kind)
{
    struct pen pen = {line, 0, 0};

    put(&pen, kind);
    put(&pen, ',');
    return pen;
}

static uint8_t end(struct pen *pen)
{
    static const char HEX[] = "0123456789ABCDEF";
    uint16_t crc = tl_crc(0, pen->line, pen->size);

    put(pen, '*');
    for (int8_t shift = 12; shift >= 0; shift = (int8_t)(shift - 4))
        put(pen, HEX[crc >> shift & 15]);
    if (pen->bad)
        return 0;
    pen->line[pen->size++] = '\n'; /* TL_ROOM keeps a place for it */
    return pen->size;
}

static struct pen stamped(char *line, char kind, uint16_t seq, uint32_t t_us)
{
    struct pen pen = begin(line, kind);

    put_number(&pen, seq);
    put(&pen, ',');
    put_number(&pen, t_us);
    put(&pen, ',');
    return pen;
}

uint8_t tl_say_sample(char line[TL_ROOM], uint16_t seq, uint32_t t_us, int32_t counts)
{
    struct pen pen = stamped(line, 'S', seq, t_us);

    put_signed(&pen, counts);
    return end(&pen);
}

uint8_t tl_say_event(char line[TL_ROOM], uint16_t seq, uint32_t t_us, const char *name)
{
    struct pen pen = stamped(line, 'E', seq, t_us);

    put_name(&pen, name, 0);
    return end(&pen);
}

uint8_t tl_say_fault(char line[TL_ROOM], uint16_t seq, uint32_t t_us, const char *fault)
{
    struct pen pen = stamped(line, 'F', seq, t_us);

    put_name(&pen, fault, 0);
    return end(&pen);
}

uint8_t tl_say_comment(char line[TL_ROOM], const char *text)
{
    struct pen pen = begin(line, 'K');

    put_text(&pen, text);
    return end(&pen);
}

uint8_t tl_say_figures(char line[TL_ROOM], const char *words, uint32_t figure,
                       const char *more_words, uint32_t another)
{
    struct pen pen = begin(line, 'K');

    put_text(&pen, words);
    put_number(&pen, figure);
    put_text(&pen, more_words);
    put_number(&pen, another);
    return end(&pen);
}

uint8_t tl_say_hello(char line[TL_ROOM], const struct tl_identity *who)
{
    struct pen pen = begin(line, 'H');

    put_number(&pen, who->proto);
    put(&pen, ',');
    put_name(&pen, who->device, 0);
    put(&pen, ',');
    put_name(&pen, who->firmware, 1);
    put(&pen, ',');
    put_rate(&pen, who->rate_mhz);
    put(&pen, ',');
    put_number(&pen, who->adc_bits);
    put(&pen, ',');
    put_name(&pen, who->boot, 0);
    return end(&pen);
}

uint8_t tl_longest_sample(uint8_t adc_bits)
{
    uint32_t top = (uint32_t)1 << (adc_bits - 1);
    uint8_t digits = 1;

    while (top >= 10) {
        top /= 10;
        digits++;
    }
    /* S,65535,4294967295,-<digits>*FFFF and the LF */
    return (uint8_t)(sizeof "S,65535,4294967295,-*FFFF" + digits);
}

uint32_t tl_bits_per_s(uint32_t rate_mhz, uint8_t adc_bits)
{
    uint32_t line_bits = 10u * tl_longest_sample(adc_bits);

    return rate_mhz / 1000u * line_bits + (rate_mhz % 1000u * line_bits + 999u) / 1000u;
}

uint8_t tl_carries(uint32_t baud, uint32_t rate_mhz, uint8_t adc_bits)
{
    return rate_mhz < 10000000UL && tl_bits_per_s(rate_mhz, adc_bits) <= baud / 20u * 19u;
}
