/* Stand-in for the USB library, preloaded under the real packaged driver: one dongle that is not
 * there. It keeps what the driver writes into the registers of demodulator and tuner, answers the
 * driver's probes as the tuner named by STANDIN_TUNER, and serves silence as samples.
 *
 * Written from the USB library's public interface (types below are its ABI) and the register
 * descriptions of the chips.
 *
 *   STANDIN_TUNER    r820t (default), r828d, v4, e4000, fc0012, fc0013
 *   STANDIN_UNPLUG   bytes after which the device is gone
 *   STANDIN_OPEN     error number that opening gives, such as -3
 */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/time.h>
#include <time.h>

enum { NO_DEVICE = -4, PIPE = -9 };
enum { COMPLETED = 0, CANCELLED = 3, GONE = 5 };

typedef struct {
    uint8_t length, type;
    uint16_t usb;
    uint8_t class_, subclass, protocol, packet0;
    uint16_t vendor, product, release;
    uint8_t i_maker, i_product, i_serial, configurations;
} descriptor;

typedef struct transfer {
    void *handle;
    uint8_t flags;
    unsigned char endpoint, type;
    unsigned int timeout;
    int status;
    int length, actual_length;
    void (*callback)(struct transfer *);
    void *user;
    unsigned char *buffer;
    int iso_packets;
} transfer;

/* Registers as the driver left them. */
static uint8_t demodulator[16][256];
static uint8_t bus[256][256];
static int bus_pointer[256];
static uint64_t bytes_served;
static int open_handles;
static transfer *waiting[256]; /* of the driver's one reading thread */
static int waiting_count;
static int freed_in_flight;

int standin_demodulator(int page, int address) { return demodulator[page & 15][address & 255]; }
int standin_bus(int chip, int address) { return bus[chip & 255][address & 255]; }
int standin_open_handles(void) { return open_handles; }
int standin_freed_in_flight(void) { return freed_in_flight; }

static const char *tuner(void) {
    const char *name = getenv("STANDIN_TUNER");
    return name ? name : "r820t";
}

static int gone(void) {
    const char *after = getenv("STANDIN_UNPLUG");
    return after && bytes_served >= strtoull(after, NULL, 10);
}

static void start_chips(void) {
    memset(demodulator, 0, sizeof demodulator);
    memset(bus, 0, sizeof bus);
    memset(bus_pointer, 0, sizeof bus_pointer);
    if (!strcmp(tuner(), "e4000")) {
        bus[0xc8][0x02] = 0x40;
        bus[0xc8][0x07] = 0x01; /* synthesiser locked */
    } else if (!strcmp(tuner(), "fc0013")) {
        bus[0xc6][0x00] = 0xa3;
    } else if (!strcmp(tuner(), "fc0012")) {
        bus[0xc6][0x00] = 0xa1;
    }
}

static int is_r82xx(int chip) {
    return (chip == 0x34 && !strcmp(tuner(), "r820t")) ||
           (chip == 0x74 && (!strcmp(tuner(), "r828d") || !strcmp(tuner(), "v4")));
}

static int present(int chip) {
    return is_r82xx(chip) || (chip == 0xc8 && !strcmp(tuner(), "e4000")) ||
           (chip == 0xc6 && !strncmp(tuner(), "fc001", 5));
}

static uint8_t reversed(uint8_t byte) {
    uint8_t out = 0;
    for (int bit = 0; bit < 8; bit++) out |= (uint8_t)(((byte >> bit) & 1) << (7 - bit));
    return out;
}

static int bus_write(int chip, const uint8_t *data, int length) {
    if (!present(chip)) return PIPE;
    bus_pointer[chip] = data[0];
    for (int i = 1; i < length; i++) bus[chip][(data[0] + i - 1) & 255] = data[i];
    return length;
}

static int bus_read(int chip, uint8_t *data, int length) {
    if (!present(chip)) return PIPE;
    for (int i = 0; i < length; i++) {
        if (is_r82xx(chip)) { /* always from register 0, bits reversed: id, -, lock, ... */
            uint8_t value = bus[chip][i];
            if (i == 0) value = reversed(0x69);
            if (i == 2) value = 0x40; /* synthesiser locked */
            if (i == 4) value = chip == 0x34 ? 0x20 : 0x10; /* VCO tuned as the driver likes */
            data[i] = reversed(value);
        } else {
            data[i] = bus[chip][(bus_pointer[chip] + i) & 255];
        }
    }
    return length;
}

int libusb_init(void **context) {
    if (context) *context = &open_handles;
    return 0;
}
void libusb_exit(void *context) { (void)context; }

long libusb_get_device_list(void *context, void ***list) {
    (void)context;
    *list = calloc(2, sizeof(void *));
    (*list)[0] = (void *)&demodulator;
    return 1;
}
void libusb_free_device_list(void **list, int unref) {
    (void)unref;
    free(list);
}
int libusb_get_device_descriptor(void *device, descriptor *out) {
    (void)device;
    memset(out, 0, sizeof *out);
    out->vendor = 0x0bda;
    out->product = 0x2838;
    out->i_maker = 1;
    out->i_product = 2;
    out->i_serial = 3;
    return 0;
}
int libusb_open(void *device, void **handle) {
    const char *fault = getenv("STANDIN_OPEN");
    (void)device;
    if (fault) return atoi(fault);
    if (gone()) return NO_DEVICE;
    start_chips();
    bytes_served = 0;
    open_handles++;
    *handle = malloc(1);
    return 0;
}
void libusb_close(void *handle) {
    open_handles--;
    free(handle);
}
void *libusb_get_device(void *handle) {
    (void)handle;
    return (void *)&demodulator;
}
int libusb_get_string_descriptor_ascii(void *handle, uint8_t index, unsigned char *out, int size) {
    int v4 = !strcmp(tuner(), "v4");
    const char *texts[] = {"", v4 ? "RTLSDRBlog" : "Realtek", v4 ? "Blog V4" : "RTL2838UHIDIR",
                           "STANDIN1"};
    (void)handle;
    if (index > 3) return PIPE;
    memset(out, 0, (size_t)size);
    strncpy((char *)out, texts[index], (size_t)size - 1);
    return (int)strlen((char *)out);
}
int libusb_kernel_driver_active(void *handle, int interface) { return (void)handle, (void)interface, 0; }
int libusb_claim_interface(void *handle, int interface) { return (void)handle, (void)interface, 0; }
int libusb_release_interface(void *handle, int interface) { return (void)handle, (void)interface, 0; }
int libusb_reset_device(void *handle) { return (void)handle, 0; }

int libusb_control_transfer(void *handle, uint8_t type, uint8_t request, uint16_t value,
                            uint16_t index, unsigned char *data, uint16_t length,
                            unsigned int timeout) {
    int block = index >> 8;
    (void)handle, (void)request, (void)timeout;
    if (gone()) return NO_DEVICE;
    if (block == 6) /* the tuner's bus behind the demodulator */
        return type & 0x80 ? bus_read(value & 255, data, length)
                           : bus_write(value & 255, data, length);
    if (block == 0 && (value & 0xff) == 0x20) { /* demodulator: page in the index */
        uint8_t *registers = demodulator[index & 15];
        if (type & 0x80)
            for (int i = 0; i < length; i++) data[i] = registers[((value >> 8) + i) & 255];
        else
            for (int i = 0; i < length; i++) registers[((value >> 8) + i) & 255] = data[i];
        return length;
    }
    if (type & 0x80) memset(data, 0, length);
    return length;
}

static void serve(unsigned char *buffer, int length) {
    /* A slow ramp: not silence, so that a reader can tell samples from cleared memory. */
    for (int i = 0; i < length; i++) buffer[i] = (unsigned char)(((bytes_served + (uint64_t)i) >> 1) & 255);
    bytes_served += (uint64_t)length;
}

static void pause_us(long microseconds) {
    struct timespec pause = {microseconds / 1000000, (microseconds % 1000000) * 1000};
    nanosleep(&pause, NULL);
}

int libusb_bulk_transfer(void *handle, unsigned char endpoint, unsigned char *data, int length,
                         int *done, unsigned int timeout) {
    (void)handle, (void)endpoint, (void)timeout;
    if (gone()) return NO_DEVICE;
    serve(data, length);
    *done = length;
    return 0;
}

unsigned char *libusb_dev_mem_alloc(void *handle, size_t length) {
    (void)handle;
    return calloc(1, length);
}
int libusb_dev_mem_free(void *handle, unsigned char *buffer, size_t length) {
    (void)handle, (void)length;
    free(buffer);
    return 0;
}

transfer *libusb_alloc_transfer(int packets) {
    (void)packets;
    return calloc(1, sizeof(transfer) + 64);
}
void libusb_free_transfer(transfer *one) {
    for (int i = 0; i < waiting_count; i++)
        if (waiting[i] == one) { /* a fault of the driver that real memory would not forgive */
            freed_in_flight++;
            memmove(waiting + i, waiting + i + 1,
                    (size_t)(--waiting_count - i) * sizeof(transfer *));
            break;
        }
    free(one);
}
int libusb_submit_transfer(transfer *one) {
    if (gone()) return NO_DEVICE;
    if (waiting_count == 256) return -11;
    one->status = COMPLETED;
    waiting[waiting_count++] = one;
    return 0;
}
int libusb_cancel_transfer(transfer *one) {
    for (int i = 0; i < waiting_count; i++)
        if (waiting[i] == one) {
            one->status = CANCELLED;
            return 0;
        }
    return -5;
}

static void finish_first(void) {
    transfer *one = waiting[0];
    memmove(waiting, waiting + 1, (size_t)(--waiting_count) * sizeof(transfer *));
    if (one->status != CANCELLED && gone()) one->status = GONE;
    one->actual_length = 0;
    if (one->status == COMPLETED) {
        serve(one->buffer, one->length);
        one->actual_length = one->length;
    }
    one->callback(one);
}

static int cancelled(void) {
    for (int i = 0; i < waiting_count; i++)
        if (waiting[i]->status == CANCELLED) return i;
    return -1;
}

int libusb_handle_events_timeout_completed(void *context, struct timeval *limit, int *completed) {
    (void)context, (void)completed;
    int first = cancelled();
    if (first >= 0) { /* at once: the kernel gives a cancelled request back without delay */
        transfer *one = waiting[first];
        memmove(waiting + 1, waiting, (size_t)first * sizeof(transfer *));
        waiting[0] = one;
        finish_first();
    } else if (limit && (limit->tv_sec || limit->tv_usec)) {
        pause_us(2000);
        if (waiting_count) finish_first();
    }
    return 0;
}
