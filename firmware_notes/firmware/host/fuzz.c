/* Laws of the core against anything at all.
 *
 * One input is one stream. Its lines go through the reader, and what is sound is written
 * again and must read the same; then its bytes are calls of a device, and what that says
 * must be whole sound lines whose numbers account for every conversion. A broken law aborts.
 *
 * LLVMFuzzerTestOneInput has the shape that libFuzzer wants. Where there is none, the main
 * below breeds inputs itself: fuzz SEED RUNS FILE… changes pieces of the files, and half of
 * the time mends the checksum, since else nothing ever passes it.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "device.h"
#include "wire_read.h"

static void must(int holds, const char *law)
{
    if (holds)
        return;
    fprintf(stderr, "broken: %s\n", law);
    abort();
}

static uint32_t number_of(struct tl_text text)
{
    uint64_t number = 0;

    for (size_t i = 0; i < text.size; i++)
        number = number * 10 + (uint64_t)(text.at[i] - '0');
    return number > UINT32_MAX ? UINT32_MAX : (uint32_t)number;
}

static char *text_of(struct tl_text text)
{
    char *copy = malloc(text.size + 1);

    memcpy(copy, text.at, text.size);
    copy[text.size] = '\0';
    return copy;
}

static uint8_t say_again(char line[TL_ROOM], const struct tl_line *read)
{
    char *text = text_of(read->text);
    uint8_t size = 0;

    if (read->kind == TL_SAMPLE)
        size = tl_say_sample(line, read->seq, read->t_us, read->counts);
    else if (read->kind == TL_EVENT)
        size = tl_say_event(line, read->seq, read->t_us, text);
    else if (read->kind == TL_FAULT)
        size = tl_say_fault(line, read->seq, read->t_us, text);
    else if (read->kind == TL_COMMENT)
        size = tl_say_comment(line, text);
    free(text);
    return size;
}

static void check_line(const char *bytes, size_t size)
{
    struct tl_line read;
    char line[TL_ROOM];

    if (tl_read(bytes, size, &read) > TL_COMMENT)
        return;
    if (read.kind == TL_HELLO) {
        must(number_of(read.proto) || read.proto.size == 1, "a sound identity has a version");
        return;
    }
    uint8_t said = say_again(line, &read);
    size_t without_cr = size - (size && bytes[size - 1] == '\r');

    must(said == without_cr + 1, "what was read can be said as long");
    must(!memcmp(line, bytes, without_cr), "what was read is said with the same bytes");
}

static void check_lines(const char *data, size_t size)
{
    size_t begin = 0;

    for (size_t i = 0; i <= size; i++) {
        if (i < size && data[i] != '\n')
            continue;
        char *exact = malloc(i - begin + 1);

        memcpy(exact, data + begin, i - begin);
        check_line(exact, i - begin);
        free(exact);
        begin = i + 1;
    }
}

/* Any bytes at all as a text: said as a line that reads the same, or not said. */
static void check_saying(const char *data, size_t size)
{
    struct tl_line read;
    char *line = malloc(TL_ROOM); /* of exactly this size, so that a sanitizer sees its end */
    char *text = text_of((struct tl_text){data, size});
    uint8_t said = tl_say_comment(line, text);

    if (said) {
        must(tl_read(line, said - 1u, &read) == TL_COMMENT, "a comment that is said is one");
        must(read.text.size == strlen(text), "a comment is said whole");
    }
    said = tl_say_event(line, 7, 9, text);
    if (said) {
        must(tl_read(line, said - 1u, &read) == TL_EVENT, "an event that is said is one");
        must(read.text.size == strlen(text), "an event's name is said whole");
    }
    free(text);
    free(line);
}

static const uint32_t RATES[] = {10000, 80000};
static const struct tl_switch SWITCHES[] = {{"redo", NULL}, {"shut-A", "open-A"}};
static const struct tl_config CONFIG = {
    .device = "fuzzed",
    .firmware = "",
    .adc_bits = 24,
    .baud = 115200,
    .rates_mhz = RATES,
    .rates = 2,
    .switches = SWITCHES,
    .switch_count = 2,
};

/* What the device said so far. */
struct heard {
    char line[TL_ROOM];
    size_t size;
    uint32_t next;  /* number that the next sample has at least, since the start */
};

static void check_said(struct heard *heard, const struct tl_device *device, uint32_t taken)
{
    struct tl_line read;

    must(tl_read(heard->line, heard->size, &read) <= TL_COMMENT, "the device says sound lines");
    heard->size = 0;
    if (read.kind != TL_SAMPLE)
        return;
    uint32_t step = (uint16_t)(read.seq - (uint16_t)heard->next);

    must(heard->next + step < taken + 1, "no number is ahead of the conversions");
    must((uint16_t)taken == device->next_seq, "every conversion has its number");
    heard->next += step + 1;
}

static void drain(struct heard *heard, struct tl_device *device, uint32_t taken, size_t most)
{
    int16_t byte;

    while (most-- && (byte = tl_next(device)) >= 0) {
        if (byte == '\n') {
            check_said(heard, device, taken);
            continue;
        }
        must(heard->size < TL_MAX_LINE, "no line is too long");
        heard->line[heard->size++] = (char)byte;
    }
}

static void check_device(const unsigned char *data, size_t size)
{
    static struct tl_device device;
    struct heard heard = {.size = 0};
    uint32_t taken = 0, now_us = 0;

    tl_start(&device, &CONFIG, "1", RATES[1], "started: fuzzed");
    for (size_t i = 0; i + 4 < size; i += 5) {
        uint32_t four = (uint32_t)data[i + 1] << 24 | (uint32_t)data[i + 2] << 16 |
                        (uint32_t)data[i + 3] << 8 | data[i + 4];

        now_us += four >> 12;
        switch (data[i] % 8) {
        case 0:
            tl_missed(&device, four & 3);
            taken += four & 3;
            break;
        case 1:
            tl_switches(&device, now_us, data[i + 4]);
            break;
        case 2:
            for (int j = 1; j < 5; j++)
                tl_heard(&device, (char)data[i + (size_t)j]);
            break;
        case 3:
            drain(&heard, &device, taken, four & 255);
            break;
        case 4:
            if (tl_wanted_rate(&device))
                tl_converts_at(&device, RATES[four & 1], now_us);
            tl_passed(&device, now_us);
            break;
        default:
            tl_converted(&device, now_us, (int32_t)four >> (four & 1 ? 8 : 0));
            taken++;
        }
    }
    drain(&heard, &device, taken, TL_RING);
    must(heard.size == 0, "only whole lines are said");
}

int LLVMFuzzerTestOneInput(const unsigned char *data, size_t size)
{
    check_lines((const char *)data, size);
    check_saying((const char *)data, size);
    check_device(data, size);
    return 0;
}

#ifndef LIBFUZZER
static uint64_t state;

static uint32_t any(uint32_t below)
{
    state ^= state << 13;
    state ^= state >> 7;
    state ^= state << 17;
    return (uint32_t)(state >> 32) % below;
}

enum { MOST = 4096 };

static size_t changed(unsigned char *bytes, size_t size)
{
    static const char TELLING[] = "0123456789-,*\r\nSHEFK?R. AF\t";
    size_t at = any((uint32_t)size);

    switch (any(5)) {
    case 0:
        bytes[at] ^= (unsigned char)(1u << any(8));
        return size;
    case 1:
        bytes[at] = (unsigned char)TELLING[any(sizeof TELLING - 1)];
        return size;
    case 2:
        memmove(bytes + at, bytes + at + 1, size - at - 1);
        return size - 1;
    case 3:
        bytes[at] = (unsigned char)any(256);
        return size;
    default:
        if (size == MOST)
            return size;
        memmove(bytes + at + 1, bytes + at, size - at);
        bytes[at] = (unsigned char)TELLING[any(sizeof TELLING - 1)];
        return size + 1;
    }
}

/* Give every line that ends in an asterisk and four bytes the checksum it needs. */
static void mend(char *bytes, size_t size)
{
    size_t begin = 0;

    for (size_t i = 0; i < size; i++) {
        if (bytes[i] != '\n')
            continue;
        size_t end = i - (i > begin && bytes[i - 1] == '\r');

        if (end >= begin + 5 && end - begin <= TL_MAX_LINE && bytes[end - 5] == '*') {
            char digits[5];

            snprintf(digits, sizeof digits, "%04X",
                     (unsigned)tl_crc(0, bytes + begin, (uint8_t)(end - 5 - begin)));
            memcpy(bytes + end - 4, digits, 4);
        }
        begin = i + 1;
    }
}

int main(int argc, char **argv)
{
    static unsigned char seeds[1 << 20], bytes[MOST];
    size_t held = 0;

    if (argc < 4)
        return 2;
    state = strtoull(argv[1], NULL, 10) * 2654435769u + 1;
    unsigned long runs = strtoul(argv[2], NULL, 10);

    for (int i = 3; i < argc; i++) {
        FILE *file = fopen(argv[i], "rb");

        if (!file)
            return 2;
        held += fread(seeds + held, 1, sizeof seeds - held, file);
        fclose(file);
    }
    for (unsigned long run = 0; run < runs && held; run++) {
        size_t from = any((uint32_t)held), size = 1 + any(400);

        size = size < held - from ? size : held - from;
        memcpy(bytes, seeds + from, size);
        for (uint32_t n = any(6); n && size > 1; n--)
            size = changed(bytes, size);
        if (any(2))
            mend((char *)bytes, size);
        LLVMFuzzerTestOneInput(bytes, size);
    }
    printf("%lu inputs, every law held\n", runs);
    return 0;
}
#endif
