// Just enough of CUDA on CPU threads to run recursions.cu: one block at a time, a barrier for __syncthreads.
#pragma once
#include <atomic>
#include <barrier>
#include <cmath>
#include <cstring>
#include <functional>
#include <mutex>
#include <thread>
#include <vector>
#define __global__
#define __device__
#define __shared__
#define __forceinline__ inline
struct Index { int x = 0, y = 0, z = 0; };
inline thread_local Index threadIdx, blockIdx;
inline Index blockDim, gridDim;
inline std::barrier<>* block_barrier = nullptr;
inline std::mutex add_lock;
inline void __syncthreads() { block_barrier->arrive_and_wait(); }
inline void atomicAdd(float* p, float v) { std::lock_guard<std::mutex> g(add_lock); *p += v; }
struct float2 { float x, y; };
struct __half2 { _Float16 x, y; };
inline float2 __half22float2(__half2 h) { return {(float)h.x, (float)h.y}; }
extern float shared[];
inline void launch(int blocks_x, int blocks_y, int threads, std::function<void()> body) {
    gridDim = {blocks_x, blocks_y, 1};
    blockDim = {threads, 1, 1};
    for (int y = 0; y < blocks_y; y++)
        for (int x = 0; x < blocks_x; x++) {
            std::barrier<> bar(threads);
            block_barrier = &bar;
            std::vector<std::thread> ts;
            for (int t = 0; t < threads; t++)
                ts.emplace_back([=] { threadIdx = {t, 0, 0}; blockIdx = {x, y, 0}; body(); block_barrier->arrive_and_drop(); });
            for (auto& t : ts) t.join();
        }
}
