/* The AVR image on a simulated controller, a model of the bridge converter on its pins and
 * its port on a pseudo-terminal. Linked with libsimavr (GPL): see README.md beside this.
 *
 *   emulator --firmware device.elf --link PATH [options]
 *     --rate HZ        true rate of the converter while its rate pin is high (80)
 *     --speed X        device seconds a second; 0: as fast as it goes (1)
 *     --for S          stop after so many device seconds
 *     --counts FILE    codes of the conversions, one a line; the last one then stays; else
 *                      those of an empty cell
 *     --switches FILE  lines of device second and bits of closed switches
 *     --reset-at S,S…  resets, in device seconds
 *     --brown-out-at S a reset by a supply that fell
 *     --reset-on-open  reset whenever the port is opened, as boards do by DTR
 *     --eeprom FILE    kept from run to run
 *     --late-at S      the converter stops for a second from there on
 *
 * It begins when the port is first opened. What is said while nobody has it open is lost.
 * At the end it prints what the pins saw, as JSON.
 */
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>

#define HZ 16000000ULL

enum {
    DATA_PIN = 2,
    CLOCK_PIN = 5,
    FAST_PIN = 4,
    SWITCH_PINS = 5,
    BITS = 24,
    PULSES = 25,
    EMPTY = 84211, /* code of the empty cell, and dice for its noise, where no file has any */
    DICE = 3,
    POLL_CYCLES = 16000, /* a millisecond */
    RESET_CAUSE = 0x54, /* MCUSR */
    BROWN_OUT = 1 << 2,
    UNUSED_REGISTER = 0x3e, /* GPIOR0 */
    WIRED = 0xa5,
    AWAKE_US = 250000, /* whoever opens a port empties it first: a board is not awake by then */
    LAST_READ_US = 500000, /* what is unread when a port goes is gone with it */
    OUT = 1 << 14,
    EEPROM = 1024
};

struct bench {
    /* asked for */
    double rate_hz, speed, for_s, late_at_s, brown_out_at_s;
    int reset_on_open;
    const char *firmware, *link, *eeprom, *resets;
    FILE *counts, *switches;
    /* parts */
    avr_t *avr;
    avr_irq_t *data, *uart_in;
    int master, is_open, was_opened;
    /* converter */
    double next_cycle;
    int32_t code;
    uint32_t dice;
    int fast, pulses, unread;
    avr_cycle_count_t clock_rose;
    /* switches */
    double switch_s;
    unsigned next_closed, closed;
    /* port */
    char out[OUT];
    size_t waiting;
    int may_hear;
    /* what the pins saw */
    unsigned long conversions, missed, reads, irregular, resets_done, port_lost;
    avr_cycle_count_t longest_high;
};

static volatile sig_atomic_t stop;

static void on_signal(int number)
{
    (void)number;
    stop = 1;
}

static double device_s(const struct bench *b)
{
    return (double)b->avr->cycle / (double)HZ;
}

/* ---- the converter ---------------------------------------------------------------- */

static void next_code(struct bench *b)
{
    long code;
    int32_t noise = 0;

    if (b->counts) {
        if (fscanf(b->counts, "%ld", &code) == 1)
            b->code = (int32_t)code;
        return;
    }
    for (int i = 0; i < DICE; i++) {
        b->dice = b->dice * 1664525u + 1013904223u;
        noise += (int32_t)(b->dice >> 22) - 512;
    }
    b->code = EMPTY + noise;
}

static int is_late(const struct bench *b)
{
    double s = device_s(b);

    return b->late_at_s > 0 && s >= b->late_at_s && s < b->late_at_s + 1.0;
}

static avr_cycle_count_t convert(avr_t *avr, avr_cycle_count_t when, void *param)
{
    struct bench *b = param;

    (void)avr;
    (void)when;
    b->next_cycle += (double)HZ / (b->fast ? b->rate_hz : b->rate_hz / 8.0);
    if (is_late(b))
        return (avr_cycle_count_t)b->next_cycle;
    b->conversions++;
    b->missed += (unsigned long)b->unread;
    b->irregular += b->pulses != PULSES && b->pulses != 0;
    b->pulses = 0;
    b->unread = 1;
    next_code(b);
    avr_raise_irq(b->data, 1);
    avr_raise_irq(b->data, 0);
    return (avr_cycle_count_t)b->next_cycle;
}

static void clock_changed(struct avr_irq_t *irq, uint32_t level, void *param)
{
    struct bench *b = param;

    (void)irq;
    if (!level) {
        avr_cycle_count_t high = b->avr->cycle - b->clock_rose;

        if (b->clock_rose && high > b->longest_high)
            b->longest_high = high;
        return;
    }
    b->clock_rose = b->avr->cycle;
    b->pulses++;
    if (b->pulses <= BITS)
        avr_raise_irq(b->data, (uint32_t)b->code >> (BITS - b->pulses) & 1u);
    if (b->pulses != PULSES)
        return;
    avr_raise_irq(b->data, 1);
    b->reads++;
    b->unread = 0;
}

static void fast_changed(struct avr_irq_t *irq, uint32_t level, void *param)
{
    (void)irq;
    ((struct bench *)param)->fast = level != 0;
}

/* ---- switches --------------------------------------------------------------------- */

static void set_switches(const struct bench *b, unsigned closed)
{
    for (int pin = 0; pin < SWITCH_PINS; pin++)
        avr_raise_irq(avr_io_getirq(b->avr, AVR_IOCTL_IOPORT_GETIRQ('C'), pin),
                      !(closed >> pin & 1u));
}

static void work_switches(struct bench *b)
{
    while (b->switches && device_s(b) >= b->switch_s) {
        b->closed = b->next_closed;
        set_switches(b, b->closed);
        if (fscanf(b->switches, "%lf %u", &b->switch_s, &b->next_closed) != 2)
            b->switches = NULL;
    }
}

/* ---- the port --------------------------------------------------------------------- */

static void said(struct avr_irq_t *irq, uint32_t byte, void *param)
{
    struct bench *b = param;

    (void)irq;
    if (b->is_open && b->waiting < OUT)
        b->out[b->waiting++] = (char)byte;
    else
        b->port_lost++;
}

static void may_hear(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)value;
    ((struct bench *)param)->may_hear = 1;
}

static void open_port(struct bench *b)
{
    char temporary[4096];
    struct termios raw;
    int slave;

    b->master = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (b->master < 0 || grantpt(b->master) || unlockpt(b->master)) {
        perror("pseudo-terminal");
        exit(1);
    }
    slave = open(ptsname(b->master), O_RDWR | O_NOCTTY);
    tcgetattr(slave, &raw);
    cfmakeraw(&raw);
    tcsetattr(slave, TCSANOW, &raw);
    close(slave);
    snprintf(temporary, sizeof temporary, "%s.new", b->link);
    unlink(temporary);
    if (symlink(ptsname(b->master), temporary) || rename(temporary, b->link)) {
        perror(b->link);
        exit(1);
    }
}

static void look_at_port(struct bench *b)
{
    struct pollfd port = {b->master, POLLIN, 0};
    int now_open;

    poll(&port, 1, 0);
    now_open = !(port.revents & POLLHUP);
    if (now_open && !b->is_open && b->was_opened && b->reset_on_open) {
        avr_reset(b->avr);
        b->resets_done++;
    }
    if (!now_open)
        b->waiting = 0;
    b->is_open = now_open;
    b->was_opened |= now_open;
}

/* Flat out the host sets the pace: a real port would not wait, but it is not this fast. */
static void flush(struct bench *b)
{
    while (b->waiting && b->is_open) {
        ssize_t n = write(b->master, b->out, b->waiting);

        if (n > 0) {
            memmove(b->out, b->out + n, b->waiting - (size_t)n);
            b->waiting -= (size_t)n;
        } else if (b->speed > 0 || stop) {
            return;
        } else {
            struct pollfd port = {b->master, POLLOUT, 0};

            poll(&port, 1, 50);
            look_at_port(b);
        }
    }
}

static void hear(struct bench *b)
{
    char byte;

    if (b->is_open && b->may_hear && read(b->master, &byte, 1) == 1)
        avr_raise_irq(b->uart_in, (uint8_t)byte);
}

/* ---- time ------------------------------------------------------------------------- */

static double host_s(void)
{
    struct timespec t;

    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static void keep_pace(const struct bench *b, double began_s)
{
    double ahead_s;

    if (b->speed <= 0)
        return;
    ahead_s = device_s(b) / b->speed - (host_s() - began_s);
    if (ahead_s > 0.001)
        usleep((useconds_t)(ahead_s * 1e6));
}

/* The library would sleep in real time here; pace is kept in one place instead. */
static void no_sleep(avr_t *avr, avr_cycle_count_t cycles)
{
    (void)avr;
    (void)cycles;
}

/* A reset, the watchdog's too, clears what the controller was wired to: its timers, the
 * levels of its pins. A register that the firmware has no use for tells.
 */
static void keep_wired(struct bench *b)
{
    uint32_t flags = 0;

    if (b->avr->data[UNUSED_REGISTER] == WIRED)
        return;
    b->avr->data[UNUSED_REGISTER] = WIRED;
    avr_ioctl(b->avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    set_switches(b, ~b->closed);
    set_switches(b, b->closed);
    while (b->next_cycle <= (double)b->avr->cycle)
        b->next_cycle += (double)HZ / b->rate_hz;
    avr_cycle_timer_register(b->avr, (avr_cycle_count_t)b->next_cycle - b->avr->cycle, convert,
                             b);
}

static void reset_in_time(struct bench *b)
{
    char *rest;

    if (b->brown_out_at_s > 0 && device_s(b) >= b->brown_out_at_s) {
        b->brown_out_at_s = 0;
        avr_reset(b->avr);
        b->avr->data[RESET_CAUSE] |= BROWN_OUT;
        b->resets_done++;
    }
    if (!b->resets || !*b->resets || device_s(b) < strtod(b->resets, &rest))
        return;
    b->resets = *rest == ',' ? rest + 1 : rest;
    avr_reset(b->avr);
    b->resets_done++;
}

/* ---- setting up ------------------------------------------------------------------- */

static void eeprom(struct bench *b, int save)
{
    static uint8_t bytes[EEPROM];
    avr_eeprom_desc_t all = {.ee = bytes, .offset = 0, .size = EEPROM};
    FILE *file = b->eeprom ? fopen(b->eeprom, save ? "wb" : "rb") : NULL;

    if (!file)
        return;
    if (save) {
        avr_ioctl(b->avr, AVR_IOCTL_EEPROM_GET, &all);
        fwrite(all.ee, 1, EEPROM, file);
    } else if (fread(bytes, 1, EEPROM, file) == EEPROM) {
        avr_ioctl(b->avr, AVR_IOCTL_EEPROM_SET, &all);
    }
    fclose(file);
}

static void wire_up(struct bench *b)
{
    avr_irq_t *clock = avr_io_getirq(b->avr, AVR_IOCTL_IOPORT_GETIRQ('D'), CLOCK_PIN);
    avr_irq_t *fast = avr_io_getirq(b->avr, AVR_IOCTL_IOPORT_GETIRQ('D'), FAST_PIN);

    b->data = avr_io_getirq(b->avr, AVR_IOCTL_IOPORT_GETIRQ('D'), DATA_PIN);
    b->uart_in = avr_io_getirq(b->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    avr_irq_register_notify(clock, clock_changed, b);
    avr_irq_register_notify(fast, fast_changed, b);
    avr_irq_register_notify(avr_io_getirq(b->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT),
                            said, b);
    avr_irq_register_notify(
        avr_io_getirq(b->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), may_hear, b);
    b->may_hear = 1;
    b->fast = 1;
    b->next_cycle = (double)HZ / b->rate_hz;
    avr_raise_irq(b->data, 1);
}

static void load(struct bench *b)
{
    elf_firmware_t firmware = {0};

    if (elf_read_firmware(b->firmware, &firmware)) {
        fprintf(stderr, "cannot read %s\n", b->firmware);
        exit(1);
    }
    b->avr = avr_make_mcu_by_name("atmega328p");
    avr_init(b->avr);
    firmware.frequency = HZ;
    avr_load_firmware(b->avr, &firmware);
    b->avr->log = LOG_ERROR;
    b->avr->sleep = no_sleep;
    eeprom(b, 0);
}

static void run(struct bench *b)
{
    avr_cycle_count_t look_at = 0;
    double began_s = 0;

    while (!stop && (b->for_s <= 0 || device_s(b) < b->for_s)) {
        if (!b->was_opened) {
            look_at_port(b);
            usleep(b->was_opened ? AWAKE_US : 1000);
            began_s = host_s();
            continue;
        }
        if (b->avr->cycle >= look_at) {
            look_at = b->avr->cycle + POLL_CYCLES;
            reset_in_time(b);
            keep_wired(b);
            look_at_port(b);
            work_switches(b);
            flush(b);
            hear(b);
            keep_pace(b, began_s);
        }
        int state = avr_run(b->avr);

        if (state == cpu_Done || state == cpu_Crashed)
            break;
    }
    flush(b);
    usleep(LAST_READ_US);
}

static void options(struct bench *b, int argc, char **argv)
{
    for (int i = 1; i < argc; i++) {
        const char *name = argv[i];

        if (!strcmp(name, "--reset-on-open")) {
            b->reset_on_open = 1;
            continue;
        }
        const char *value = ++i < argc ? argv[i] : "";

        if (!strcmp(name, "--firmware"))
            b->firmware = value;
        else if (!strcmp(name, "--link"))
            b->link = value;
        else if (!strcmp(name, "--rate"))
            b->rate_hz = atof(value);
        else if (!strcmp(name, "--speed"))
            b->speed = atof(value);
        else if (!strcmp(name, "--for"))
            b->for_s = atof(value);
        else if (!strcmp(name, "--counts"))
            b->counts = fopen(value, "r");
        else if (!strcmp(name, "--switches"))
            b->switches = fopen(value, "r");
        else if (!strcmp(name, "--reset-at"))
            b->resets = value;
        else if (!strcmp(name, "--brown-out-at"))
            b->brown_out_at_s = atof(value);
        else if (!strcmp(name, "--eeprom"))
            b->eeprom = value;
        else if (!strcmp(name, "--late-at"))
            b->late_at_s = atof(value);
        else
            exit(2);
    }
    if (!b->firmware || !b->link)
        exit(2);
}

int main(int argc, char **argv)
{
    static struct bench b = {.rate_hz = 80.0, .speed = 1.0, .switch_s = 1e-9};

    options(&b, argc, argv);
    signal(SIGTERM, on_signal);
    signal(SIGINT, on_signal);
    load(&b);
    wire_up(&b);
    keep_wired(&b);
    open_port(&b);
    run(&b);
    eeprom(&b, 1);
    unlink(b.link);
    printf("{\"device_s\": %.3f, \"conversions\": %lu, \"missed\": %lu, \"reads\": %lu, "
           "\"irregular_reads\": %lu, \"longest_clock_high_us\": %.3f, \"resets\": %lu, "
           "\"port_lost\": %lu}\n",
           device_s(&b), b.conversions, b.missed, b.reads, b.irregular,
           (double)b.longest_high / 16.0, b.resets_done, b.port_lost);
    return 0;
}
