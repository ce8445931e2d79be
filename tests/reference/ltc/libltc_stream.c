/* Linear timecode made and read by libltc, for tests to compare with.
 *
 *   libltc_stream write FPS SAMPLE_RATE HOURS MINUTES SECONDS FRAMES COUNT SLOWNESS USER_BITS
 *       COUNT words as unsigned 8-bit samples on standard output. SLOWNESS 2.0 is half speed; a negative one
 *       runs backwards, label by label. FPS 25 has its polarity bit at 59; 29.97 counts drop frame.
 *   libltc_stream read FPS SAMPLE_RATE
 *       unsigned 8-bit samples from standard input; a line a word: label, drop-frame flag, colour-frame flag,
 *       user bits, first sample, last sample, whether it ran backwards.
 *
 * Build: cc -O1 libltc_stream.c -lltc -o libltc_stream
 */
#include <ltc.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static enum LTC_TV_STANDARD standard_of(double fps)
{
    return fps == 25.0 ? LTC_TV_625_50 : fps == 24.0 ? LTC_TV_FILM_24 : LTC_TV_525_60;
}

static int write_stream(char **argv)
{
    double fps = strcmp(argv[0], "29.97") == 0 ? 30000.0 / 1001.0 : atof(argv[0]);
    double slowness = atof(argv[7]);
    int count = atoi(argv[6]);
    SMPTETimecode label;
    LTCEncoder *encoder = ltc_encoder_create(atof(argv[1]), fps, standard_of(fps), 0);
    ltcsnd_sample_t *buffer;

    memset(&label, 0, sizeof label);
    label.hours = atoi(argv[2]);
    label.mins = atoi(argv[3]);
    label.secs = atoi(argv[4]);
    label.frame = atoi(argv[5]);
    ltc_encoder_set_buffersize(encoder, atof(argv[1]), 5.0);
    ltc_encoder_reinit(encoder, atof(argv[1]), fps, standard_of(fps), 0);
    ltc_encoder_set_user_bits(encoder, strtoul(argv[8], NULL, 16));
    ltc_encoder_set_timecode(encoder, &label);
    buffer = malloc(ltc_encoder_get_buffersize(encoder));
    for (int word = 0; word < count; word++) {
        for (int index = 0; index < 10; index++)
            ltc_encoder_encode_byte(encoder, slowness < 0 ? 9 - index : index, slowness);
        fwrite(buffer, 1, ltc_encoder_copy_buffer(encoder, buffer), stdout);
        if (slowness < 0)
            ltc_encoder_dec_timecode(encoder);
        else
            ltc_encoder_inc_timecode(encoder);
    }
    ltc_encoder_end_encode(encoder);
    fwrite(buffer, 1, ltc_encoder_copy_buffer(encoder, buffer), stdout);
    free(buffer);
    ltc_encoder_free(encoder);
    return 0;
}

static void print_words(LTCDecoder *decoder)
{
    LTCFrameExt word;
    SMPTETimecode label;

    while (ltc_decoder_read(decoder, &word)) {
        ltc_frame_to_time(&label, &word.ltc, 0);
        printf("%02d:%02d:%02d:%02d %d %d %08lx %lld %lld %d\n", label.hours, label.mins, label.secs, label.frame,
               word.ltc.dfbit, word.ltc.col_frame, ltc_frame_get_user_bits(&word.ltc), word.off_start, word.off_end,
               word.reverse != 0);
    }
}

static int read_stream(char **argv)
{
    LTCDecoder *decoder = ltc_decoder_create((int)(atof(argv[1]) / atof(argv[0])), 64);
    ltcsnd_sample_t buffer[1024];
    ltc_off_t place = 0;
    size_t count;

    while ((count = fread(buffer, 1, sizeof buffer, stdin)) > 0) {
        ltc_decoder_write(decoder, buffer, count, place);
        place += count;
        print_words(decoder);
    }
    ltc_decoder_free(decoder);
    return 0;
}

int main(int argc, char **argv)
{
    if (argc == 11 && strcmp(argv[1], "write") == 0)
        return write_stream(argv + 2);
    if (argc == 4 && strcmp(argv[1], "read") == 0)
        return read_stream(argv + 2);
    fprintf(stderr, "write FPS SAMPLE_RATE HOURS MINUTES SECONDS FRAMES COUNT SLOWNESS USER_BITS | read FPS SAMPLE_RATE\n");
    return 2;
}
