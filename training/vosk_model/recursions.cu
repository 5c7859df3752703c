// Scores of frames in, log-sums over all paths and the posteriors of every output at every frame out.
//
// Two graphs are summed: the linear graph of one utterance (numerator of MMI, and CTC), and the phone trigram that competes
// with it (denominator of MMI).  Each recursion over time runs inside one kernel; a Python loop spends nine tenths of the
// time on launches.  Built as a shared library (nvcc) and called through ctypes; with -DEMULATE it compiles as plain C++,
// threads standing in for CUDA threads, so that a machine without a GPU can test the arithmetic.
#ifdef EMULATE
#include "cuda_emulation.h"
#else
#include <cuda_fp16.h>
#include <cuda_runtime.h>
#endif
#include <math.h>

#define NONE -1e30f

__device__ __forceinline__ float log_add(float a, float b) {
    float m = fmaxf(a, b);
    return m + log1pf(expf(fminf(a, b) - m));
}

#ifdef EMULATE
__device__ inline void block_add(float value, float* target) { atomicAdd(target, value); }
#else
// Sum over the block into shared memory; every warp must be full.
__device__ __forceinline__ void block_add(float value, float* target) {
    for (int k = 16; k; k >>= 1) value += __shfl_down_sync(0xffffffffu, value, k);
    if ((threadIdx.x & 31) == 0) atomicAdd(target, value);
}
#endif

// One block an utterance, one thread a state.  State s is entered from s-1, and from s-2 where skip[s]; it starts at 0 or 1
// and ends at n-1 or n-2.  enter and stay name the output of a state's first and later frames (the same one for CTC).
__global__ void linear_kernel(const float* score, const int* enter, const int* stay, const unsigned char* skip, const int* count,
                              int frames, int outputs, int states, int want_posteriors, float* alpha, float* total, float* posterior) {
    extern __shared__ float shared[];
    int b = blockIdx.x, s = threadIdx.x, n = count[b];
    float* row[2] = {shared + 2, shared + 2 + blockDim.x + 4};
    int e = s < n ? enter[b * states + s] : 0, y = s < n ? stay[b * states + s] : 0;
    bool may_skip = s < n && skip[b * states + s];
    bool skip_after = s + 2 < n && skip[b * states + s + 2];
    int e1 = s + 1 < n ? enter[b * states + s + 1] : 0, e2 = s + 2 < n ? enter[b * states + s + 2] : 0;
    const float* frame = score + (long long)b * frames * outputs;
    float* stored = alpha + (long long)b * frames * states;
    if (s < 2) { row[0][-1 - s] = NONE; row[1][-1 - s] = NONE; }
    float a = (s <= 1 && s < n) ? frame[e] : NONE;
    row[0][s] = a;
    if (s < states) stored[s] = a;
    __syncthreads();
    for (int t = 1; t < frames; t++) {
        const float* f = frame + (long long)t * outputs;
        float* old = row[(t + 1) & 1];
        float in = old[s - 1];
        if (may_skip) in = log_add(in, old[s - 2]);
        a = s < n ? log_add(a + f[y], in + f[e]) : NONE;
        row[t & 1][s] = a;
        if (s < states) stored[(long long)t * states + s] = a;
        __syncthreads();
    }
    float* last = row[(frames - 1) & 1];
    float z = last[n - 1];
    if (n > 1) z = log_add(z, last[n - 2]);
    if (s == 0) total[b] = z;
    if (!want_posteriors || z < -1e29f) return;
    __syncthreads();
    // backward: row[] now holds beta, two cells of padding behind the last state
    float beta = (s == n - 1 || (s == n - 2 && n > 1)) ? 0.0f : NONE;
    float* out = posterior + (long long)b * frames * outputs;
    for (int t = frames - 1; t >= 1; t--) {
        float* now = row[t & 1];
        now[s] = beta;
        if (s < 2) now[blockDim.x + s] = NONE;
        __syncthreads();
        const float* f = frame + (long long)t * outputs;
        const float* before = stored + (long long)(t - 1) * states;
        if (s < n) {
            float in = s > 0 ? before[s - 1] : NONE;
            if (may_skip && s > 1) in = log_add(in, before[s - 2]);
            float pe = expf(in + f[e] + beta - z), ps = expf(before[s] + f[y] + beta - z);
            if (pe > 0) atomicAdd(out + (long long)t * outputs + e, pe);
            if (ps > 0) atomicAdd(out + (long long)t * outputs + y, ps);
            float next = s + 1 < n ? now[s + 1] + f[e1] : NONE;
            if (skip_after) next = log_add(next, now[s + 2] + f[e2]);
            beta = log_add(beta + f[y], next);
        }
    }
    if (s <= 1 && s < n) atomicAdd(out + e, expf(frame[e] + beta - z));
}

#define PHONES 40
#define PAIRS 1600
#define ROW 820        // half2 words a table row takes: 800 and 20 of padding, so that a warp meets no bank twice
#define TOGETHER 2     // utterances a block works on, sharing every read of the table
#define DEN_THREADS 800
#ifdef EMULATE
#define BLOCKS 1
#else
#define BLOCKS 64
#endif

__device__ void load_table(const __half2* table, __half2* into) {
    for (int i = threadIdx.x; i < PHONES * 800; i += DEN_THREADS) into[i / 800 * ROW + i % 800] = table[i];
    __syncthreads();
}

// expo: exp(score - frame maximum), (batch, frames, 80); table[q][p][r] = 1024 P(r | p q); first[r].
// Writes alpha (batch, frames, 40, 40), each frame normalised, and the log of what it was divided by.
__global__ void denominator_forward(const float* expo, const __half2* table, const float* first, int batch, int frames, float* alpha, float* log_norm) {
    extern __shared__ float shared[];
    __half2* tri = (__half2*)shared;
    float* buffer = shared + PHONES * ROW;                       // [2][TOGETHER][PAIRS]
    float* norm = buffer + 2 * TOGETHER * PAIRS;                 // [3][TOGETHER]
    int i = threadIdx.x, q = i / 20, r = i % 20 * 2, at = q * PHONES + r;
    load_table(table, tri);
    if (i < 3 * TOGETHER) norm[i] = 0;
    __syncthreads();
    for (int t = 0; t < frames; t++) {
        float* old = buffer + ((t + 1) & 1) * TOGETHER * PAIRS;
        float* now = buffer + (t & 1) * TOGETHER * PAIRS;
        float m0[TOGETHER], m1[TOGETHER];
        for (int u = 0; u < TOGETHER; u++) m0[u] = m1[u] = 0;
        if (t > 0) {
            const __half2* w = tri + q * ROW + r / 2;
            for (int p = 0; p < PHONES; p++) {
                float2 v = __half22float2(w[p * 20]);
                for (int u = 0; u < TOGETHER; u++) {
                    float a = old[u * PAIRS + p * PHONES + q];
                    m0[u] += a * v.x;
                    m1[u] += a * v.y;
                }
            }
        }
        for (int u = 0; u < TOGETHER; u++) {
            int b = blockIdx.x * TOGETHER + u;
            float n0 = 0, n1 = 0;
            if (b < batch) {
                const float* e = expo + ((long long)b * frames + t) * 80 + 2 * r;
                if (t == 0) {
                    n0 = q == 0 ? first[r] * e[0] : 0;
                    n1 = q == 0 ? first[r + 1] * e[2] : 0;
                } else {
                    n0 = m0[u] * (1.0f / 1024) * e[0] + old[u * PAIRS + at] * e[1];
                    n1 = m1[u] * (1.0f / 1024) * e[2] + old[u * PAIRS + at + 1] * e[3];
                }
            }
            m0[u] = n0;
            m1[u] = n1;
            block_add(n0 + n1, norm + t % 3 * TOGETHER + u);
        }
        __syncthreads();
        for (int u = 0; u < TOGETHER; u++) {
            int b = blockIdx.x * TOGETHER + u;
            float z = norm[t % 3 * TOGETHER + u] + 1e-37f;
            m0[u] /= z;
            m1[u] /= z;
            now[u * PAIRS + at] = m0[u];
            now[u * PAIRS + at + 1] = m1[u];
            if (i == 0) norm[(t + 1) % 3 * TOGETHER + u] = 0;
            if (b < batch) {
                float* keep = alpha + ((long long)b * frames + t) * PAIRS + at;
                keep[0] = m0[u];
                keep[1] = m1[u];
                if (i == 0) log_norm[(long long)b * frames + t] = logf(z);
            }
        }
        __syncthreads();
    }
}

// back[p][r][q] = 1024 P(r | p q).  Writes the posteriors of the 80 outputs (batch, frames, 80).
__global__ void denominator_backward(const float* expo, const __half2* back, const float* alpha, const float* log_norm, int batch, int frames, float* posterior) {
    extern __shared__ float shared[];
    __half2* tri = (__half2*)shared;
    float* weighted = shared + PHONES * ROW;                     // [TOGETHER][r][q]: enter(r) beta(q, r)
    float* entered = weighted + TOGETHER * PAIRS;                // [TOGETHER][q][r]
    float* stayed = entered + TOGETHER * PAIRS;
    float* norm = stayed + TOGETHER * PAIRS;                     // [3][TOGETHER]
    int i = threadIdx.x, q = i / 20, r = i % 20 * 2, at = q * PHONES + r;
    load_table(back, tri);
    if (i < 3 * TOGETHER) norm[i] = 0;
    __syncthreads();
    float b0[TOGETHER], b1[TOGETHER], s0[TOGETHER], s1[TOGETHER];
    for (int u = 0; u < TOGETHER; u++) b0[u] = b1[u] = 1;
    for (int t = frames - 1; t >= 0; t--) {
        for (int u = 0; u < TOGETHER; u++) {
            int b = blockIdx.x * TOGETHER + u;
            float g0 = 0, g1 = 0, h0 = 0, h1 = 0;
            s0[u] = s1[u] = 0;
            if (b < batch) {
                const float* e = expo + ((long long)b * frames + t) * 80;
                const float* a = alpha + ((long long)b * frames + t) * PAIRS + at;
                float z = expf(log_norm[(long long)b * frames + t]);
                float w0 = a[0] * z, w1 = a[1] * z;
                if (t > 0) {
                    const float* o = a - PAIRS;
                    h0 = o[0] * e[2 * r + 1];
                    h1 = o[1] * e[2 * r + 3];
                }
                g0 = fmaxf(w0 - h0, 0) * b0[u];
                g1 = fmaxf(w1 - h1, 0) * b1[u];
                h0 *= b0[u];
                h1 *= b1[u];
                weighted[u * PAIRS + r * PHONES + q] = e[2 * r] * b0[u];
                weighted[u * PAIRS + (r + 1) * PHONES + q] = e[2 * r + 2] * b1[u];
                // this thread is also the owner of beta(p = q, q = r and r + 1): staying in them costs stay(r)
                s0[u] = e[2 * r + 1] * b0[u];
                s1[u] = e[2 * r + 3] * b1[u];
            }
            entered[u * PAIRS + at] = g0;
            entered[u * PAIRS + at + 1] = g1;
            stayed[u * PAIRS + at] = h0;
            stayed[u * PAIRS + at + 1] = h1;
            block_add(g0 + g1 + h0 + h1, norm + t % 3 * TOGETHER + u);
        }
        __syncthreads();
        if (i < 80 * TOGETHER) {
            int u = i / 80, k = i % 80, b = blockIdx.x * TOGETHER + u;
            if (b < batch) {
                const float* g = (k & 1 ? stayed : entered) + u * PAIRS + k / 2;
                float sum = 0;
                for (int j = 0; j < PHONES; j++) sum += g[j * PHONES];
                posterior[((long long)b * frames + t) * 80 + k] = sum / (norm[t % 3 * TOGETHER + u] + 1e-37f);
            }
        }
        if (t > 0) {
            float n0[TOGETHER], n1[TOGETHER];
            for (int u = 0; u < TOGETHER; u++) n0[u] = n1[u] = 0;
            const __half2* w = tri + q * ROW + r / 2;            // back[p = q of this thread][k][q = r, r + 1]
            for (int k = 0; k < PHONES; k++) {
                float2 v = __half22float2(w[k * 20]);
                for (int u = 0; u < TOGETHER; u++) {
                    n0[u] += v.x * weighted[u * PAIRS + k * PHONES + r];
                    n1[u] += v.y * weighted[u * PAIRS + k * PHONES + r + 1];
                }
            }
            for (int u = 0; u < TOGETHER; u++) {
                float z = norm[t % 3 * TOGETHER + u] + 1e-37f;
                b0[u] = (n0[u] * (1.0f / 1024) + s0[u]) / z;
                b1[u] = (n1[u] * (1.0f / 1024) + s1[u]) / z;
            }
        }
        if (i < TOGETHER) norm[(t + 2) % 3 * TOGETHER + i] = 0;  // the slot of frame t - 1
        __syncthreads();
    }
}

// Adds clips into a batch at real-valued times and speeds: 12-tap windowed sinc.  clip: start in audio, samples; place: row, first sample, speed, gain.
__global__ void place_clips(const short* audio, long long audio_length, const long long* clip, const double* place, int length, float* out) {
    int c = blockIdx.y;
    long long from = clip[2 * c], samples = clip[2 * c + 1];
    int row = (int)place[4 * c];
    double at = place[4 * c + 1], speed = place[4 * c + 2];
    float gain = (float)place[4 * c + 3];
    int lo = (int)ceil(at - 8), hi = (int)(at + samples / speed + 8);
    lo = lo < 0 ? 0 : lo;
    hi = hi > length - 1 ? length - 1 : hi;
    for (int i = lo + blockIdx.x * blockDim.x + threadIdx.x; i <= hi; i += gridDim.x * blockDim.x) {
        double position = (i - at) * speed;
        long long base = (long long)floor(position);
        float frac = (float)(position - (double)base), sum = 0;
        float sine = sinf(3.14159265f * frac);
        for (int k = -5; k <= 6; k++) {
            long long j = base + k;
            if (j < 0 || j >= samples) continue;
            float x = k - frac;                                  // sin(pi x) = -(-1)^k sin(pi frac)
            float sinc = fabsf(x) < 1e-4f ? 1.0f : ((k & 1) ? sine : -sine) / (3.14159265f * x);
            sum += audio[from + j] * sinc * cosf(3.14159265f / 13 * x);
        }
        atomicAdd(out + (long long)row * length + i, gain * sum);
    }
}

// out[row][i] += audio[(start[row] + i) mod audio_length]
__global__ void cut_noise(const short* audio, long long audio_length, const long long* start, int length, float* out) {
    for (int i = blockIdx.x * blockDim.x + threadIdx.x; i < length; i += gridDim.x * blockDim.x)
        out[(long long)blockIdx.y * length + i] += audio[(start[blockIdx.y] + i) % audio_length];
}

#ifdef EMULATE
float shared[60000];
#define RUN(kernel, gx, gy, threads, bytes, stream, ...) launch(gx, gy, threads, [=] { kernel(__VA_ARGS__); })
#define ROOM_FOR(kernel, bytes)
#define FAILED() 0
typedef void* cudaStream_t;
#else
#define RUN(kernel, gx, gy, threads, bytes, stream, ...) kernel<<<dim3(gx, gy), threads, bytes, stream>>>(__VA_ARGS__)
#define ROOM_FOR(kernel, bytes) cudaFuncSetAttribute(kernel, cudaFuncAttributeMaxDynamicSharedMemorySize, bytes)
#define FAILED() (int)cudaGetLastError()
#endif

extern "C" int linear(const float* score, const int* enter, const int* stay, const unsigned char* skip, const int* count,
                      int batch, int frames, int outputs, int states, int want, float* alpha, float* total, float* posterior,
                      cudaStream_t stream) {
    int threads = (states + 31) / 32 * 32;
    RUN(linear_kernel, batch, 1, threads, (2 * (threads + 4)) * 4, stream, score, enter, stay, skip, count, frames, outputs,
        states, want, alpha, total, posterior);
    return FAILED();
}

extern "C" int den_forward(const float* expo, const void* table, const float* first, int batch, int frames, float* alpha,
                           float* log_norm, cudaStream_t stream) {
    int bytes = (PHONES * ROW + 2 * TOGETHER * PAIRS + 3 * TOGETHER) * 4;
    ROOM_FOR(denominator_forward, bytes);
    RUN(denominator_forward, (batch + TOGETHER - 1) / TOGETHER, 1, DEN_THREADS, bytes, stream, expo, (const __half2*)table,
        first, batch, frames, alpha, log_norm);
    return FAILED();
}

extern "C" int den_backward(const float* expo, const void* back, const float* alpha, const float* log_norm, int batch, int frames,
                            float* posterior, cudaStream_t stream) {
    int bytes = (PHONES * ROW + 3 * TOGETHER * PAIRS + 3 * TOGETHER) * 4;
    ROOM_FOR(denominator_backward, bytes);
    RUN(denominator_backward, (batch + TOGETHER - 1) / TOGETHER, 1, DEN_THREADS, bytes, stream, expo, (const __half2*)back,
        alpha, log_norm, batch, frames, posterior);
    return FAILED();
}

extern "C" int clips(const short* audio, long long audio_length, const long long* clip, const double* place, int clips,
                     int length, float* out, cudaStream_t stream) {
    RUN(place_clips, BLOCKS, clips, 256, 0, stream, audio, audio_length, clip, place, length, out);
    return FAILED();
}

extern "C" int noise(const short* audio, long long audio_length, const long long* start, int rows, int length, float* out,
                     cudaStream_t stream) {
    RUN(cut_noise, BLOCKS, rows, 256, 0, stream, audio, audio_length, start, length, out);
    return FAILED();
}
