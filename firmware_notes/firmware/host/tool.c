/* The core on a computer, for its tests: what it reads, what it writes, what it does.
 *
 *   tool read   each line of stdin, read:   sample 7 12500 84000 | event 7 12500 <hex> | bad crc
 *   tool say    each row of stdin, written: S 7 12500 84000 gives S,7,12500,84000*….; - if it cannot be said
 *   tool run    each row of stdin is one call of the device; what it says goes to stdout
 *
 * Texts go in and out in hexadecimal, because they may hold anything.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "device.h"
#include "wire_read.h"

enum { ROW = 4096, TEXT = 1024 };

static void print_hex(struct tl_text text)
{
    putchar(' ');
    if (!text.size)
        putchar('-');
    for (size_t i = 0; i < text.size; i++)
        printf("%02x", (unsigned)(unsigned char)text.at[i]);
}

static void print_stamped(const char *kind, const struct tl_line *line)
{
    printf("%s %u %lu", kind, (unsigned)line->seq, (unsigned long)line->t_us);
}

static void print_line(const struct tl_line *line)
{
    switch (line->kind) {
    case TL_SAMPLE:
        print_stamped("sample", line);
        printf(" %ld", (long)line->counts);
        break;
    case TL_EVENT:
    case TL_FAULT:
        print_stamped(line->kind == TL_EVENT ? "event" : "fault", line);
        print_hex(line->text);
        break;
    case TL_HELLO:
        printf("hello");
        print_hex(line->proto);
        print_hex(line->device);
        print_hex(line->firmware);
        print_hex(line->rate);
        print_hex(line->adc_bits);
        print_hex(line->boot);
        break;
    case TL_COMMENT:
    case TL_UNKNOWN:
        printf(line->kind == TL_COMMENT ? "comment" : "unknown");
        print_hex(line->text);
        break;
    default:
        printf("bad %s", line->kind == TL_BAD_CRC    ? "crc"
                         : line->kind == TL_BAD_FORM ? "form"
                                                     : "too-long");
    }
    putchar('\n');
}

/* An exact copy of each line, so that a sanitizer sees a read beyond its end. */
static void read_lines(void)
{
    static char row[1 << 16];
    size_t size = 0;
    int c;

    while ((c = getchar()) != EOF) {
        if (c != '\n') {
            if (size < sizeof row)
                row[size++] = (char)c;
            continue;
        }
        char *exact = malloc(size + !size);
        struct tl_line line;

        memcpy(exact, row, size);
        tl_read(exact, size, &line);
        print_line(&line);
        free(exact);
        size = 0;
    }
}

static const char *unhex(const char *hex, char *text)
{
    size_t size = *hex == '-' ? 0 : strlen(hex) / 2;

    for (size_t i = 0; i < size; i++) {
        unsigned byte = 0;

        sscanf(hex + 2 * i, "%2x", &byte);
        text[i] = (char)byte;
    }
    text[size] = '\0';
    return text;
}

static uint8_t say_hello(char line[TL_ROOM], const char *row)
{
    char hex[3][TEXT], text[3][TEXT];
    unsigned long proto, rate_mhz, adc_bits;

    if (sscanf(row, "H %lu %1023s %1023s %lu %lu %1023s", &proto, hex[0], hex[1], &rate_mhz,
               &adc_bits, hex[2]) != 6)
        return 0;
    struct tl_identity who = {
        .device = unhex(hex[0], text[0]),
        .firmware = unhex(hex[1], text[1]),
        .boot = unhex(hex[2], text[2]),
        .rate_mhz = (uint32_t)rate_mhz,
        .proto = (uint32_t)proto,
        .adc_bits = (uint32_t)adc_bits,
    };
    return tl_say_hello(line, &who);
}

static uint8_t say_row(char line[TL_ROOM], const char *row)
{
    char hex[TEXT], text[TEXT];
    unsigned seq;
    unsigned long t_us;
    long counts;

    if (sscanf(row, "S %u %lu %ld", &seq, &t_us, &counts) == 3)
        return tl_say_sample(line, (uint16_t)seq, (uint32_t)t_us, (int32_t)counts);
    if (sscanf(row, "E %u %lu %1023s", &seq, &t_us, hex) == 3)
        return tl_say_event(line, (uint16_t)seq, (uint32_t)t_us, unhex(hex, text));
    if (sscanf(row, "F %u %lu %1023s", &seq, &t_us, hex) == 3)
        return tl_say_fault(line, (uint16_t)seq, (uint32_t)t_us, unhex(hex, text));
    if (sscanf(row, "K %1023s", hex) == 1)
        return tl_say_comment(line, unhex(hex, text));
    return say_hello(line, row);
}

static void say_rows(void)
{
    static char row[ROW];

    while (fgets(row, sizeof row, stdin)) {
        char line[TL_ROOM];
        uint8_t size = say_row(line, row);

        if (size)
            fwrite(line, 1, size, stdout);
        else
            puts("-");
    }
}

static const uint32_t RATES[] = {10000, 80000, 320000};
static const struct tl_switch SWITCHES[] = {
    {"redo", NULL}, {"mark", NULL}, {"shut-A", "open-A"}, {"shut-B", "open-B"},
};
static const struct tl_config CONFIG = {
    .device = "bench-host",
    .firmware = "reference",
    .adc_bits = 24,
    .baud = 115200,
    .rates_mhz = RATES,
    .rates = 3,
    .switches = SWITCHES,
    .switch_count = 4,
};

static void drain(struct tl_device *device, unsigned long most)
{
    int16_t byte;

    while (most-- && (byte = tl_next(device)) >= 0)
        putchar(byte);
}

static void run_row(struct tl_device *device, const char *row)
{
    static char boot[TEXT];
    char word[TEXT], text[TEXT];
    unsigned long a = 0;
    long b = 0;

    if (sscanf(row, "start %1023s", word) == 1)
        tl_start(device, &CONFIG, strcpy(boot, word), RATES[1], "started: power on");
    else if (sscanf(row, "converted %lu %ld", &a, &b) == 2)
        tl_converted(device, (uint32_t)a, (int32_t)b);
    else if (sscanf(row, "missed %lu", &a) == 1)
        tl_missed(device, (uint16_t)a);
    else if (sscanf(row, "fault %lu %1023s", &a, word) == 2)
        tl_fault(device, (uint32_t)a, word);
    else if (sscanf(row, "switches %lu %ld", &a, &b) == 2)
        tl_switches(device, (uint32_t)a, (uint8_t)b);
    else if (sscanf(row, "heard %1023s", word) == 1)
        for (const char *c = unhex(word, text); *c; c++)
            tl_heard(device, *c);
    else if (sscanf(row, "passed %lu", &a) == 1)
        tl_passed(device, (uint32_t)a);
    else if (sscanf(row, "at-rate %lu %ld", &a, &b) == 2)
        tl_converts_at(device, (uint32_t)a, (uint32_t)b);
    else if (sscanf(row, "drain %lu", &a) == 1)
        drain(device, a);
    else if (!strncmp(row, "wanted", 6))
        printf("wanted %lu\n", (unsigned long)tl_wanted_rate(device));
    else
        abort();
}

int main(int argc, char **argv)
{
    static char row[ROW];
    static struct tl_device device;

    if (argc > 1 && !strcmp(argv[1], "read"))
        read_lines();
    else if (argc > 1 && !strcmp(argv[1], "say"))
        say_rows();
    else if (argc > 1 && !strcmp(argv[1], "run"))
        while (fgets(row, sizeof row, stdin))
            run_row(&device, row);
    else
        return 2;
    return 0;
}
