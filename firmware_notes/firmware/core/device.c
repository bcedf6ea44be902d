#include "device.h"

enum fault_bit { SATURATED = 1, NO_BRIDGE = 2, STUCK = 4, NOT_READY = 8 };

static const struct {
    uint8_t bit;
    const char *name;
} FAULTS[] = {
    {SATURATED, "saturated"},
    {NO_BRIDGE, "no-bridge"},
    {STUCK, "stuck"},
    {NOT_READY, "not-ready"},
};

static uint16_t latest(const struct tl_device *device)
{
    /* Before the first sample there is none to point to; the wire then says 0. */
    return device->begun ? (uint16_t)(device->next_seq - 1) : 0;
}

/* Whole lines or none, and samples leave room for what cannot be told by a number. */
static uint8_t queue(struct tl_device *device, const char *line, uint8_t size, uint8_t keep)
{
    uint8_t used = (uint8_t)(device->head - device->tail);
    uint8_t at = device->head;

    if (!size || used + size + keep > TL_RING - 1)
        return 0;
    for (uint8_t i = 0; i < size; i++)
        device->ring[at++] = line[i];
    device->head = at; /* only now can an interrupt see the line */
    return 1;
}

static void say(struct tl_device *device, const char *line, uint8_t size)
{
    if (!queue(device, line, size, 0) && device->lost < UINT16_MAX)
        device->lost++;
}

static void say_who(struct tl_device *device)
{
    char line[TL_ROOM];
    struct tl_identity who = {
        .device = device->config->device,
        .firmware = device->config->firmware,
        .boot = device->boot,
        .rate_mhz = device->rate_mhz,
        .proto = TL_PROTO,
        .adc_bits = device->config->adc_bits,
    };

    say(device, line, tl_say_hello(line, &who));
}

static void say_comment(struct tl_device *device, const char *text)
{
    char line[TL_ROOM];

    say(device, line, tl_say_comment(line, text));
}

static void set_rate(struct tl_device *device, uint32_t rate_mhz, uint32_t now_us)
{
    device->rate_mhz = rate_mhz;
    device->period_us = rate_mhz ? UINT32_C(1000000000) / rate_mhz : UINT32_MAX;
    device->last_us = now_us;
}

void tl_start(struct tl_device *device, const struct tl_config *config, const char *boot,
              uint32_t rate_mhz, const char *why)
{
    *device = (struct tl_device){.config = config, .boot = boot};
    device->top = (int32_t)(((uint32_t)1 << (config->adc_bits - 1)) - 1);
    set_rate(device, rate_mhz, 0);
    /* The comment goes first: what a reset tore may be glued to it, never to the H. */
    say_comment(device, why);
    say_who(device);
}

void tl_fault(struct tl_device *device, uint32_t t_us, const char *fault)
{
    char line[TL_ROOM];

    say(device, line, tl_say_fault(line, latest(device), t_us, fault));
}

static void stands(struct tl_device *device, uint8_t bit, uint32_t t_us)
{
    if (device->standing & bit)
        return;
    device->standing |= bit;
    for (uint8_t i = 0; i < sizeof FAULTS / sizeof *FAULTS; i++)
        if (FAULTS[i].bit == bit)
            tl_fault(device, t_us, FAULTS[i].name);
}

static void is_over(struct tl_device *device, uint8_t bits)
{
    device->standing = (uint8_t)(device->standing & ~bits);
}

static uint16_t conversions_in(const struct tl_device *device, uint8_t seconds)
{
    uint32_t conversions = device->rate_mhz / 1000u * seconds;

    return conversions < TL_LEAST_SAME ? TL_LEAST_SAME : (uint16_t)conversions;
}

/* A strained bridge can reach the end of the range for a moment, an open one stays there. */
static void watch_range(struct tl_device *device, uint32_t t_us, int32_t counts)
{
    if (counts > -device->top && counts < device->top) {
        device->at_end = 0;
        is_over(device, SATURATED | NO_BRIDGE);
        return;
    }
    stands(device, SATURATED, t_us);
    if (device->at_end < UINT16_MAX)
        device->at_end++;
    if (device->at_end >= conversions_in(device, 2))
        stands(device, NO_BRIDGE, t_us);
}

/* No bridge is so quiet that 24 bits repeat for a second: the converter or its line is. */
static void watch_same(struct tl_device *device, uint32_t t_us, int32_t counts)
{
    if (counts != device->last_counts || device->at_end) {
        device->same = 0;
        is_over(device, STUCK);
    } else if (device->same < UINT16_MAX) {
        device->same++;
    }
    device->last_counts = counts;
    if (device->same >= conversions_in(device, 1))
        stands(device, STUCK, t_us);
}

void tl_converted(struct tl_device *device, uint32_t t_us, int32_t counts)
{
    char line[TL_ROOM];
    uint8_t size = tl_say_sample(line, device->next_seq, t_us, counts);

    /* No room: the number tells, so nothing else has to. */
    queue(device, line, size, TL_KEPT);
    device->next_seq++;
    device->begun = 1;
    device->last_us = t_us;
    is_over(device, NOT_READY);
    watch_range(device, t_us, counts);
    watch_same(device, t_us, counts);
}

void tl_missed(struct tl_device *device, uint16_t conversions)
{
    device->next_seq = (uint16_t)(device->next_seq + conversions);
    device->begun |= conversions != 0;
}

static void say_event(struct tl_device *device, uint32_t t_us, const char *name)
{
    char line[TL_ROOM];

    if (name)
        say(device, line, tl_say_event(line, latest(device), t_us, name));
}

/* The first edge is the moment; what follows for a while is the contact bouncing. */
static void look_at(struct tl_device *device, uint8_t i, uint32_t t_us, uint8_t closed)
{
    uint8_t bit = (uint8_t)(1u << i);
    const struct tl_switch *names = &device->config->switches[i];

    if ((device->bouncing & bit) && t_us - device->told_us[i] < TL_BOUNCE_US)
        return;
    device->bouncing = (uint8_t)(device->bouncing & ~bit);
    if (!((closed ^ device->closed) & bit))
        return;
    device->closed ^= bit;
    device->bouncing |= bit;
    device->told_us[i] = t_us;
    say_event(device, t_us, closed & bit ? names->closed : names->opened);
}

void tl_switches(struct tl_device *device, uint32_t t_us, uint8_t closed)
{
    if (!device->looked)
        device->closed = closed;
    device->looked = 1;
    for (uint8_t i = 0; i < device->config->switch_count && i < TL_SWITCHES; i++)
        look_at(device, i, t_us, closed);
}

/* "80" or "92.8" to thousandths of a hertz; 0 for anything else. */
static uint32_t rate_of(const char *text, uint8_t size)
{
    uint32_t rate = 0;
    uint8_t i = 0, decimals = 0;

    for (; i < size && i < 6 && text[i] >= '0' && text[i] <= '9'; i++)
        rate = rate * 10 + (uint32_t)(text[i] - '0');
    if (i < size && text[i] == '.')
        for (i++; i < size && decimals < 3 && text[i] >= '0' && text[i] <= '9'; i++, decimals++)
            rate = rate * 10 + (uint32_t)(text[i] - '0');
    for (; decimals < 3; decimals++)
        rate *= 10;
    return i == size ? rate : 0;
}

static void ask_for(struct tl_device *device, uint32_t rate_mhz)
{
    const struct tl_config *config = device->config;
    char line[TL_ROOM];

    if (rate_mhz && !tl_carries(config->baud, rate_mhz, config->adc_bits)) {
        uint32_t needed = tl_bits_per_s(rate_mhz, config->adc_bits);

        say(device, line,
            tl_say_figures(line, "rate refused: it needs bit/s ", needed, ", the line has ",
                           config->baud));
        return;
    }
    for (uint8_t i = 0; i < config->rates; i++)
        if (rate_mhz && config->rates_mhz[i] == rate_mhz)
            device->wanted_mhz = rate_mhz;
    if (device->wanted_mhz != rate_mhz || !rate_mhz)
        say_comment(device, "rate refused: the converter has no such rate");
}

static void obey(struct tl_device *device)
{
    const char *command = device->command;
    uint8_t size = device->command_size;

    if (size == 1 && command[0] == '?') {
        say_who(device);
        for (uint8_t i = 0; i < sizeof FAULTS / sizeof *FAULTS; i++)
            if (device->standing & FAULTS[i].bit)
                tl_fault(device, device->last_us, FAULTS[i].name);
    } else if (size > 2 && command[0] == 'R' && command[1] == ',') {
        ask_for(device, rate_of(command + 2, (uint8_t)(size - 2)));
        if (!device->wanted_mhz)
            say_who(device);
    }
}

void tl_heard(struct tl_device *device, char byte)
{
    /* A CR ends a line as well: a modem manager's AT must not eat the ? behind it. */
    if (byte == '\n' || byte == '\r') {
        if (device->command_size <= TL_COMMAND)
            obey(device);
        device->command_size = 0;
    } else if (device->command_size < TL_COMMAND) {
        device->command[device->command_size++] = byte;
    } else {
        device->command_size = TL_COMMAND + 1; /* too long: pass it over to its end */
    }
}

void tl_passed(struct tl_device *device, uint32_t now_us)
{
    char line[TL_ROOM];

    if (now_us - device->last_us > TL_LATE * device->period_us &&
        now_us - device->last_us < UINT32_MAX / 2)
        stands(device, NOT_READY, now_us);
    if (device->lost &&
        queue(device, line, tl_say_figures(line, "lines lost: ", device->lost, " by us ", now_us),
              0))
        device->lost = 0;
}

uint32_t tl_wanted_rate(struct tl_device *device)
{
    uint32_t wanted = device->wanted_mhz;

    device->wanted_mhz = 0;
    return wanted;
}

void tl_converts_at(struct tl_device *device, uint32_t rate_mhz, uint32_t now_us)
{
    set_rate(device, rate_mhz, now_us);
    say_who(device);
}

int16_t tl_next(struct tl_device *device)
{
    uint8_t at = device->tail;
    char byte;

    if (at == device->head)
        return -1;
    byte = device->ring[at];
    device->tail = (uint8_t)(at + 1);
    return (uint8_t)byte;
}
