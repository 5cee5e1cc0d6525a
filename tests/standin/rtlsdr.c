/* Stand-in for the dongle's driver library: one or more dongles that are not there.
 *
 * It exports what the wrapper binds, makes samples of a tone and noise as a real front end would
 * see them (synthesiser step, crystal error, gain, filter-free), and injects the faults of life.
 * Variables are read when they matter, so that a test can change them while a dongle is open.
 *
 *   STANDIN_COUNT       how many dongles (1)
 *   STANDIN_SERIALS     their serial numbers, with commas (00000001 for each)
 *   STANDIN_TUNER       r820t (default), r828d, v4, e4000, fc0012, fc0013, fc2580, none
 *   STANDIN_FILE        serve these cu8 bytes, over and over, instead of the tone
 *   STANDIN_TONE_HZ     true frequency of the tone; none without it
 *   STANDIN_TONE_DBFS   its level at 0 dB of tuner gain (-40)
 *   STANDIN_NOISE_DBFS  noise at 0 dB of tuner gain, in the whole span (-70)
 *   STANDIN_LIMIT       amplitude at which the front end saturates, full scale 1 (none)
 *   STANDIN_PPM         how fast the crystal runs (0)
 *   STANDIN_PACE        speed: 1 as the clock (default), 20 faster, 0 as fast as it is read; a
 *                       reader that is late finds samples waiting, or lost, only at 1
 *   STANDIN_SETTLE_MS   the synthesiser's settling after each retune (3)
 * Faults
 *   STANDIN_OPEN        error number of opening: -3 no permission, -6 busy
 *   STANDIN_UNPLUG      bytes after which the dongle is gone; with STANDIN_RETURN it is back
 *                       after that many seconds, and stays
 *   STANDIN_STALL       bytes after which nothing comes any more
 *   STANDIN_SHORT       bytes after which one buffer is only half full
 *   STANDIN_DROP        "at:bytes": so many bytes are lost in silence
 *   STANDIN_TUNE        error number of setting the frequency
 *   STANDIN_TUNE_ONCE   the same, only once in the life of the process
 *   STANDIN_UNLOCK_HZ   above this the synthesiser does not lock: setting it fails with -1
 */
#include <math.h>
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#ifdef _WIN32
#define API __declspec(dllexport)
#else
#define API
#endif

#define TWO_PI 6.283185307179586
#define CLOCK 28800000.0
#define NOISE_SIZE 65521 /* prime, so that its repetition meets no block length */

enum { IO = -1, PARAMETER = -2, ACCESS = -3, NO_DEVICE = -4, BUSY = -6, OVERFLOW_ = -8, RATE = -22 };
enum { E4000 = 1, FC0012 = 2, FC0013 = 3, R820T = 5, R828D = 6 };
enum { IDLE, RUNNING, CANCELLING };

typedef void (*reader)(unsigned char *buffer, uint32_t length, void *context);

typedef struct {
    uint32_t index;
    uint32_t request, rate;
    int ppm, manual, gain, if_mode, direct, bias, testmode;
    uint32_t bandwidth;
    double center, old_center; /* true frequency at DC, now and before the last retune */
    uint64_t switch_at;        /* sample at which the last retune took effect */
    uint64_t sample;           /* samples made, lost ones too */
    uint64_t bytes;            /* bytes served */
    double started;            /* clock at sample 0 of this stream */
    uint64_t stream_base;
    double re, im; /* phase of the tone */
    int state;
    int short_done, drop_done, gone;
    FILE *file;
    uint8_t counter;
} dongle;

static const int gains_r82xx[] = {0,   9,   14,  27,  37,  77,  87,  125, 144, 157,
                                  166, 197, 207, 229, 254, 280, 297, 328, 338, 364,
                                  372, 386, 402, 421, 434, 439, 445, 480, 496};
static const int gains_e4000[] = {-10, 15,  40,  65,  90,  115, 140,
                                  165, 190, 215, 240, 290, 340, 420};
static const int gains_fc0012[] = {-99, -40, 71, 179, 192};
static const int gains_fc0013[] = {-99, -73, -65, -63, -60, -58, -54, 58,  61,  63,  65, 67,
                                   68,  70,  71,  179, 181, 182, 184, 186, 188, 191, 197};

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static int open_handles, opens, ppm_calls, bias_left_on, held[16];
static double gone_since;
static int returned, tune_once_done;
static float noise[2 * NOISE_SIZE];
static dongle *last; /* for the questions of the tests */

static double now(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void wait_s(double seconds) {
    if (seconds <= 0) return;
    struct timespec t = {(time_t)seconds, (long)((seconds - floor(seconds)) * 1e9)};
    nanosleep(&t, NULL);
}

static double number(const char *name, double otherwise) {
    const char *text = getenv(name);
    return text && *text ? atof(text) : otherwise;
}

static int tuner_type(void) {
    const char *names[] = {"none", "e4000", "fc0012", "fc0013", "fc2580", "r820t", "r828d", "v4"};
    const char *text = getenv("STANDIN_TUNER");
    if (!text) return R820T;
    for (int i = 0; i < 8; i++)
        if (!strcmp(text, names[i])) return i == 7 ? R828D : i;
    return 0;
}

static int is_v4(void) {
    const char *text = getenv("STANDIN_TUNER");
    return text && !strcmp(text, "v4");
}

/* --- questions of the tests ------------------------------------------------------------------ */
API int standin_open_handles(void) { return open_handles; }
API int standin_opens(void) { return opens; }
API int standin_ppm_calls(void) { return ppm_calls; }
API int standin_if_mode(void) { return last ? last->if_mode : -1; }
API int standin_served(void) { return last ? (int)last->bytes : 0; }
API int standin_gain(void) { return last ? last->gain : -1; }
API int standin_manual(void) { return last ? last->manual : -1; }
API int standin_bias(void) { return last ? last->bias : -1; }
API int standin_bias_left_on(void) { return bias_left_on; }
API int standin_direct(void) { return last ? last->direct : -1; }
API uint32_t standin_bandwidth(void) { return last ? last->bandwidth : 0; }
API uint32_t standin_request(void) { return last ? last->request : 0; }
API void standin_forget(void) {
    gone_since = 0;
    returned = 0;
}

/* --- presence -------------------------------------------------------------------------------- */
static int away(void) { /* unplugged and not yet back */
    if (gone_since <= 0) return 0;
    double back = number("STANDIN_RETURN", -1);
    if (back < 0 || now() - gone_since < back) return 1;
    gone_since = 0;
    returned = 1;
    return 0;
}

static int lost(dongle *d) {
    double after = number("STANDIN_UNPLUG", -1);
    if (!d->gone && !returned && after >= 0 && (double)d->bytes >= after) {
        d->gone = 1;
        if (gone_since <= 0) gone_since = now();
    }
    return d->gone;
}

API uint32_t rtlsdr_get_device_count(void) {
    return away() ? 0 : (uint32_t)number("STANDIN_COUNT", 1);
}

API const char *rtlsdr_get_device_name(uint32_t index) {
    return index < rtlsdr_get_device_count() ? "Generic RTL2832U OEM" : "";
}

static void serial_of(uint32_t index, char *out) {
    const char *all = getenv("STANDIN_SERIALS");
    strcpy(out, "00000001");
    for (uint32_t i = 0; all; i++) {
        const char *comma = strchr(all, ',');
        size_t length = comma ? (size_t)(comma - all) : strlen(all);
        if (i == index) {
            memcpy(out, all, length);
            out[length] = 0;
            return;
        }
        all = comma ? comma + 1 : NULL;
    }
}

API int rtlsdr_get_device_usb_strings(uint32_t index, char *maker, char *product, char *serial) {
    if (index >= rtlsdr_get_device_count()) return PARAMETER;
    if (number("STANDIN_OPEN", 0) == ACCESS) return ACCESS; /* reading them needs the device too */
    char *texts[] = {maker, product, serial};
    for (int i = 0; i < 3; i++)
        if (texts[i]) memset(texts[i], 0, 256); /* the wrapper reads all 256 */
    if (maker) strcpy(maker, is_v4() ? "RTLSDRBlog" : "Realtek");
    if (product) strcpy(product, is_v4() ? "Blog V4" : "RTL2838UHIDIR");
    if (serial) serial_of(index, serial);
    return 0;
}

API int rtlsdr_get_index_by_serial(const char *serial) {
    char one[256];
    uint32_t count = rtlsdr_get_device_count();
    if (!serial) return -1;
    if (!count) return -2;
    for (uint32_t i = 0; i < count; i++) {
        serial_of(i, one);
        if (!strcmp(one, serial)) return (int)i;
    }
    return -3;
}

/* --- opening --------------------------------------------------------------------------------- */
static void make_noise(void) {
    uint64_t state = 88172645463325252ULL;
    for (int i = 0; i < 2 * NOISE_SIZE; i++) { /* sum of uniforms, near enough to Gaussian */
        double sum = -6;
        for (int k = 0; k < 12; k++) {
            state ^= state << 13, state ^= state >> 7, state ^= state << 17;
            sum += (double)(state >> 11) / 9007199254740992.0;
        }
        noise[i] = (float)(sum / sqrt(2.0)); /* unit power of the complex pair */
    }
}

API int rtlsdr_open(dongle **out, uint32_t index) {
    int fault = (int)number("STANDIN_OPEN", 0);
    if (index >= rtlsdr_get_device_count()) return IO;
    if (fault) return fault;
    if (index < 16 && held[index]) return BUSY;
    pthread_mutex_lock(&lock);
    if (noise[0] == 0) make_noise();
    open_handles++, opens++;
    if (index < 16) held[index] = 1;
    pthread_mutex_unlock(&lock);
    dongle *d = calloc(1, sizeof *d);
    d->index = index;
    d->re = 1;
    d->started = now();
    d->rate = 1024000;
    const char *path = getenv("STANDIN_FILE");
    if (path && *path) d->file = fopen(path, "rb");
    last = *out = d;
    return 0;
}

API int rtlsdr_close(dongle *d) {
    if (!d) return IO;
    while (d->state != IDLE) wait_s(1e-3); /* as the real one: for ever, if nobody cancels */
    pthread_mutex_lock(&lock);
    open_handles--;
    bias_left_on += d->bias && !d->gone;
    if (d->index < 16) held[d->index] = 0;
    if (last == d) last = NULL;
    pthread_mutex_unlock(&lock);
    if (d->file) fclose(d->file);
    free(d);
    return 0;
}

/* --- tuning ---------------------------------------------------------------------------------- */
static double if_of(uint32_t bandwidth) {
    static const int list[][2] = {{290, 1925},  {375, 1857},  {420, 2121},  {470, 1788},
                                  {600, 1706},  {860, 1558},  {950, 2205},  {1100, 2125},
                                  {1200, 1350}, {1300, 2043}, {1503, 1276}, {1600, 1900},
                                  {1753, 1412}, {1800, 1400}, {1953, 1530}, {2200, 1600},
                                  {3000, 2000}, {5000, 3570}};
    int i = 0;
    while (i < 17 && bandwidth >= (uint32_t)(list[i][0] + list[i + 1][0]) * 500) i++;
    return 1e3 * list[i][1];
}

/* Frequency at DC with a perfect crystal; negative where it cannot be tuned. */
static double reached(dongle *d, uint32_t request) {
    double f = request;
    if (d->direct) return floor(f * 4194304.0 / CLOCK) * CLOCK / 4194304.0;
    if (tuner_type() == E4000) {
        static const double limit[] = {72.4e6, 81.2e6, 108.3e6, 162.5e6, 216.6e6,
                                       325e6,  350e6,  432e6,   667e6,   1.2e9};
        static const double ratio[] = {48, 40, 32, 24, 16, 12, 8, 8, 6, 4, 2};
        int i = 0;
        while (i < 10 && f >= limit[i]) i++;
        double z = floor(f * ratio[i] / CLOCK), x = f * ratio[i] - z * CLOCK;
        return CLOCK * (z + floor(x * 65536 / CLOCK) / 65536) / ratio[i];
    }
    if (tuner_type() != R820T && tuner_type() != R828D) return f; /* good enough for the rest */
    double clock = tuner_type() == R828D && !is_v4() ? 16e6 : CLOCK;
    double up = is_v4() && f < CLOCK ? CLOCK : 0;
    double intermediate = if_of(d->bandwidth ? d->bandwidth : d->rate);
    double wanted = f + up + intermediate, divider = 2;
    double khz = floor((wanted + 500) / 1000);
    while (divider <= 64 && !(khz * divider >= 1770000 && khz * divider < 3540000)) divider *= 2;
    if (divider > 64) return -1;
    double n = floor((clock + 65536 * wanted * divider) / (2 * clock));
    double nco = floor(intermediate * 4194304.0 / CLOCK) * CLOCK / 4194304.0;
    return 2 * clock * n / 65536 / divider - nco - up;
}

static double true_rate(dongle *d) {
    uint32_t ratio = (uint32_t)(CLOCK * 4194304.0 / d->rate) & 0x0ffffffc;
    ratio |= (ratio & 0x08000000) << 1;
    return CLOCK * 4194304.0 / ratio * (1 + 1e-6 * number("STANDIN_PPM", 0));
}

/* Number of the sample that the converter makes at this moment. Only at the clock's own speed do
 * samples wait in the driver while the reader is late: at another speed nobody could reckon how
 * many by the clock, so there it makes late what is read late. */
static uint64_t sample_now(dongle *d) {
    if (d->state != RUNNING || number("STANDIN_PACE", 1) != 1) return d->sample;
    uint64_t made = d->stream_base + (uint64_t)((now() - d->started) * true_rate(d));
    return made > d->sample ? made : d->sample;
}

static void retune(dongle *d) {
    double center = reached(d, d->request);
    if (center < 0) return;
    d->old_center = d->center;
    d->center = center * (1 + 1e-6 * number("STANDIN_PPM", 0));
    d->switch_at = sample_now(d);
}

API int rtlsdr_set_center_freq(dongle *d, uint32_t f) {
    int fault = (int)number("STANDIN_TUNE", 0);
    if (!d) return IO;
    if (lost(d)) return NO_DEVICE;
    if (fault) return fault;
    if (number("STANDIN_TUNE_ONCE", 0) && !tune_once_done)
        return tune_once_done = 1, (int)number("STANDIN_TUNE_ONCE", 0);
    if (f > number("STANDIN_UNLOCK_HZ", 4e9)) return IO;
    if (!d->direct && reached(d, f) < 0) return IO;
    d->request = f;
    retune(d);
    return 0;
}
API uint32_t rtlsdr_get_center_freq(dongle *d) { return d ? d->request : 0; }
API int rtlsdr_set_freq_correction(dongle *d, int ppm) {
    ppm_calls++;
    if (d->ppm == ppm) return PARAMETER;
    d->ppm = ppm;
    return 0;
}
API int rtlsdr_get_freq_correction(dongle *d) { return d->ppm; }
API int rtlsdr_set_sample_rate(dongle *d, uint32_t rate) {
    if (lost(d)) return NO_DEVICE;
    if (rate <= 225000 || rate > 3200000 || (rate > 300000 && rate <= 900000)) return RATE;
    d->rate = rate;
    retune(d);
    return 0;
}
API uint32_t rtlsdr_get_sample_rate(dongle *d) { return d->rate; }
API int rtlsdr_set_and_get_tuner_bandwidth(dongle *d, uint32_t bw, uint32_t *applied, int apply) {
    if (lost(d)) return NO_DEVICE;
    if (applied) *applied = bw;
    if (apply) d->bandwidth = bw, retune(d);
    return 0;
}
API int rtlsdr_set_tuner_bandwidth(dongle *d, uint32_t bw) {
    return rtlsdr_set_and_get_tuner_bandwidth(d, bw, NULL, 1);
}
API int rtlsdr_set_direct_sampling(dongle *d, int on) {
    if (lost(d)) return NO_DEVICE;
    d->direct = on;
    return 0;
}
API int rtlsdr_set_xtal_freq(dongle *d, uint32_t a, uint32_t b) { return (void)d, (void)a, (void)b, 0; }
API int rtlsdr_get_xtal_freq(dongle *d, uint32_t *a, uint32_t *b) {
    (void)d;
    if (a) *a = 28800000;
    if (b) *b = tuner_type() == R828D && !is_v4() ? 16000000 : 28800000;
    return 0;
}
API int rtlsdr_get_tuner_type(dongle *d) { return d ? tuner_type() : 0; }

/* --- gain ------------------------------------------------------------------------------------ */
API int rtlsdr_get_tuner_gains(dongle *d, int *out) {
    const int *list = gains_r82xx;
    int count = 29;
    if (!d) return IO;
    if (tuner_type() == E4000) list = gains_e4000, count = 14;
    if (tuner_type() == FC0012) list = gains_fc0012, count = 5;
    if (tuner_type() == FC0013) list = gains_fc0013, count = 23;
    if (tuner_type() == 0) {
        static const int unknown[] = {0};
        list = unknown, count = 1;
    }
    if (out) memcpy(out, list, (size_t)count * sizeof(int));
    return count;
}
API int rtlsdr_set_tuner_gain(dongle *d, int gain) { return lost(d) ? NO_DEVICE : (d->gain = gain, 0); }
API int rtlsdr_get_tuner_gain(dongle *d) { return d->gain; }
API int rtlsdr_set_tuner_gain_mode(dongle *d, int manual) {
    return lost(d) ? NO_DEVICE : (d->manual = manual, 0);
}
API int rtlsdr_set_tuner_if_mode(dongle *d, int mode) {
    if (lost(d)) return NO_DEVICE;
    if (tuner_type() != R820T && tuner_type() != R828D) return IO;
    d->if_mode = mode;
    return 0;
}
API int rtlsdr_set_agc_mode(dongle *d, int on) { return (void)d, (void)on, 0; }
API int rtlsdr_set_dithering(dongle *d, int on) { return (void)d, (void)on, 0; }
API int rtlsdr_set_bias_tee(dongle *d, int on) { return lost(d) ? NO_DEVICE : (d->bias = on, 0); }
API int rtlsdr_set_testmode(dongle *d, int on) { return d->testmode = on, 0; }
API int rtlsdr_set_gpio_output(dongle *d, uint8_t g) { return (void)d, (void)g, 0; }
API int rtlsdr_set_gpio_input(dongle *d, uint8_t g) { return (void)d, (void)g, 0; }
API int rtlsdr_set_gpio_bit(dongle *d, uint8_t g, int v) { return (void)d, (void)g, (void)v, 0; }
API int rtlsdr_get_gpio_bit(dongle *d, uint8_t g, int *v) { return (void)d, (void)g, *v = 0, 0; }
API int rtlsdr_set_gpio_byte(dongle *d, int v) { return (void)d, (void)v, 0; }
API int rtlsdr_get_gpio_byte(dongle *d, int *v) { return (void)d, *v = 0, 0; }
API int rtlsdr_set_gpio_status(dongle *d, int *v) { return (void)d, *v = 0, 0; }

/* --- samples --------------------------------------------------------------------------------- */
static double amplitude(double dbfs) { return pow(10.0, dbfs / 20.0); }

static double saturated(double x, double limit) { return limit > 0 ? limit * tanh(x / limit) : x; }

static unsigned char code(double x) {
    double y = floor(127.5 + 127.5 * x + 0.5);
    return (unsigned char)(y < 0 ? 0 : y > 255 ? 255 : y);
}

static void make(dongle *d, unsigned char *out, uint32_t samples) {
    double rate = true_rate(d), tone_hz = number("STANDIN_TONE_HZ", -1);
    double settle = number("STANDIN_SETTLE_MS", 3) * 1e-3, limit = number("STANDIN_LIMIT", 0);
    double gain = d->direct ? 0 : d->manual ? 0.1 * d->gain : 30;
    double tone = tone_hz < 0 ? 0 : amplitude(number("STANDIN_TONE_DBFS", -40) + gain);
    double level = amplitude(number("STANDIN_NOISE_DBFS", -70) + gain);
    if (d->if_mode == 0 && !d->direct && tuner_type() >= R820T) {
        /* The IF amplifier under its own loop: whatever comes leaves it at -12 dBFS. */
        double scale = amplitude(-12) / sqrt(tone * tone + level * level);
        tone *= scale, level *= scale;
    }
    uint32_t i = 0;
    while (i < samples) { /* runs of 64 samples with one frequency each: it may be settling */
        uint64_t at = d->sample + i;
        double center = at < d->switch_at ? d->old_center : d->center, off = 0;
        if (at >= d->switch_at && settle > 0) {
            double age = (double)(at - d->switch_at) / rate;
            if (age < 3 * settle) off = 300e3 * exp(-age / (settle / 5));
        }
        double delta = tone_hz - center - off, visible = fabs(delta) < rate / 2 ? tone : 0;
        double step = TWO_PI * delta / rate, c = cos(step), s = sin(step);
        for (uint32_t k = 0; k < 64 && i < samples; k++, i++) {
            size_t n = 2 * ((d->sample + i) % NOISE_SIZE);
            double re = d->re * c - d->im * s;
            d->im = d->re * s + d->im * c;
            d->re = re;
            out[2 * i] = code(saturated(visible * d->re + level * noise[n], limit));
            out[2 * i + 1] = code(saturated(visible * d->im + level * noise[n + 1], limit));
        }
        double size = sqrt(d->re * d->re + d->im * d->im);
        d->re /= size, d->im /= size;
    }
}

static void serve(dongle *d, unsigned char *out, uint32_t length) {
    const char *drop = getenv("STANDIN_DROP");
    if (drop && !d->drop_done && (double)d->bytes >= atof(drop) && strchr(drop, ':')) {
        d->sample += (uint64_t)(atof(strchr(drop, ':') + 1) / 2);
        d->drop_done = 1;
    }
    if (d->testmode) {
        for (uint32_t i = 0; i < length; i++) out[i] = d->counter++;
    } else if (d->file) {
        for (uint32_t filled = 0; filled < length;) {
            size_t got = fread(out + filled, 1, length - filled, d->file);
            if (!got && (rewind(d->file), !(got = fread(out + filled, 1, length - filled, d->file))))
                break;
            filled += (uint32_t)got;
        }
    } else {
        make(d, out, length / 2);
    }
    d->sample += length / 2;
    d->bytes += length;
}

/* Waits till so many samples are made. A reader that is late by more than the driver's buffers
 * hold finds the rest gone, without a word (at another speed than the clock's it waits for it). */
static void keep_pace(dongle *d, uint32_t coming, double held) {
    double pace = number("STANDIN_PACE", 1);
    if (pace <= 0) return;
    double speed = true_rate(d) * pace;
    double late = now() - d->started - (double)(d->sample + coming - d->stream_base) / speed;
    if (late * speed > held && pace == 1)
        d->sample += (uint64_t)(late * speed);
    else
        wait_s(-late);
}

static int stalled(dongle *d) {
    double after = number("STANDIN_STALL", -1);
    return after >= 0 && (double)d->bytes >= after;
}

API int rtlsdr_reset_buffer(dongle *d) {
    if (!d) return IO;
    return lost(d) ? NO_DEVICE : 0;
}

API int rtlsdr_read_sync(dongle *d, unsigned char *out, int length, int *got) {
    if (lost(d)) return NO_DEVICE;
    if (length % 512) return OVERFLOW_;
    while (stalled(d)) wait_s(1e-2); /* for ever, as the real one */
    d->started = now(), d->stream_base = d->sample;
    keep_pace(d, (uint32_t)length / 2, 1e12);
    serve(d, out, (uint32_t)length);
    *got = length;
    return 0;
}

API int rtlsdr_read_async(dongle *d, reader callback, void *context, uint32_t count,
                          uint32_t length) {
    if (!d) return IO;
    if (d->state != IDLE) return PARAMETER;
    if (!length || length % 512) length = 262144;
    if (!count) count = 15;
    unsigned char *ring = malloc((size_t)count * length);
    d->state = RUNNING;
    d->started = now(), d->stream_base = d->sample;
    uint32_t place = 0;
    while (d->state == RUNNING && !lost(d)) {
        if (stalled(d)) {
            wait_s(5e-3);
            continue;
        }
        unsigned char *buffer = ring + (size_t)place * length;
        uint32_t full = length;
        double short_at = number("STANDIN_SHORT", -1);
        if (!d->short_done && short_at >= 0 && (double)d->bytes >= short_at) {
            full = length / 2;
            d->short_done = 1;
        }
        keep_pace(d, length / 2, 0.5 * count * length);
        serve(d, buffer, full);
        if (full < length) d->sample += (length - full) / 2;
        if (d->state == RUNNING) callback(buffer, full, context);
        place = (place + 1) % count;
    }
    free(ring);
    d->state = IDLE;
    return d->gone ? -5 : 0;
}
API int rtlsdr_wait_async(dongle *d, reader callback, void *context) {
    return rtlsdr_read_async(d, callback, context, 0, 0);
}
API int rtlsdr_cancel_async(dongle *d) {
    if (!d) return IO;
    if (d->state != RUNNING) return PARAMETER;
    d->state = CANCELLING;
    return 0;
}
