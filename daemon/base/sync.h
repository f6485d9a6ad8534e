// Shared state: a mutex clang can check, and the bounded queue between two threads.
#pragma once

#include <chrono>
#include <condition_variable>
#include <deque>
#include <mutex>
#include <optional>
#include <utility>

#if defined(__clang__)
#define THREAD_ANNOTATION(x) __attribute__((x))
#else
#define THREAD_ANNOTATION(x)
#endif
#define CAPABILITY(x) THREAD_ANNOTATION(capability(x))
#define SCOPED_CAPABILITY THREAD_ANNOTATION(scoped_lockable)
#define GUARDED_BY(x) THREAD_ANNOTATION(guarded_by(x))
#define REQUIRES(...) THREAD_ANNOTATION(requires_capability(__VA_ARGS__))
#define ACQUIRE(...) THREAD_ANNOTATION(acquire_capability(__VA_ARGS__))
#define RELEASE(...) THREAD_ANNOTATION(release_capability(__VA_ARGS__))

namespace everytake {

class CAPABILITY("mutex") Mutex {
 public:
  void lock() ACQUIRE() { mutex_.lock(); }
  void unlock() RELEASE() { mutex_.unlock(); }

 private:
  std::mutex mutex_;
};

class SCOPED_CAPABILITY MutexLock {
 public:
  explicit MutexLock(Mutex& mutex) ACQUIRE(mutex) : mutex_(mutex) { mutex_.lock(); }
  ~MutexLock() RELEASE() { mutex_.unlock(); }
  MutexLock(const MutexLock&) = delete;
  MutexLock& operator=(const MutexLock&) = delete;

 private:
  Mutex& mutex_;
};

class CondVar {
 public:
  // Call in a loop that looks at the condition: wake-ups may be spurious.
  void wait(Mutex& mutex) REQUIRES(mutex) { condition_.wait(mutex); }
  void wait_until(Mutex& mutex, std::chrono::steady_clock::time_point end) REQUIRES(mutex) {
    condition_.wait_until(mutex, end);
  }
  void notify_all() { condition_.notify_all(); }

 private:
  std::condition_variable_any condition_;
};

// A queue of at most `capacity` things. close() ends it: what is inside may still be taken, nothing more gets in.
template <class T>
class BoundedQueue {
 public:
  explicit BoundedQueue(std::size_t capacity) : capacity_(capacity) {}

  // Waits for room. False, and `item` is dropped, when the queue is closed.
  bool push(T item) {
    MutexLock lock(mu_);
    while (!closed_ && items_.size() >= capacity_) changed_.wait(mu_);
    if (closed_) return false;
    items_.push_back(std::move(item));
    changed_.notify_all();
    return true;
  }

  // As push(), but waits no longer than until `end`: then `item` stays as it was.
  bool push_until(T& item, std::chrono::steady_clock::time_point end) {
    MutexLock lock(mu_);
    while (!closed_ && items_.size() >= capacity_ && std::chrono::steady_clock::now() < end)
      changed_.wait_until(mu_, end);
    if (closed_ || items_.size() >= capacity_) return false;
    items_.push_back(std::move(item));
    changed_.notify_all();
    return true;
  }

  // Waits for an item. nullopt once the queue is closed and empty.
  std::optional<T> pop() {
    MutexLock lock(mu_);
    while (!closed_ && items_.empty()) changed_.wait(mu_);
    if (items_.empty()) return std::nullopt;
    T item = std::move(items_.front());
    items_.pop_front();
    changed_.notify_all();
    return item;
  }

  // Waits for an item, but no longer than until `end`, and takes all there are. ended() tells whether more may come.
  std::deque<T> pop_all(std::chrono::steady_clock::time_point end) {
    MutexLock lock(mu_);
    while (!closed_ && items_.empty() && std::chrono::steady_clock::now() < end) changed_.wait_until(mu_, end);
    changed_.notify_all();
    return std::exchange(items_, {});
  }

  // Waits until no more than `count` items are inside, and no longer than until `end`.
  void wait_for_room(std::size_t count, std::chrono::steady_clock::time_point end) {
    MutexLock lock(mu_);
    while (items_.size() > count && std::chrono::steady_clock::now() < end) changed_.wait_until(mu_, end);
  }

  bool ended() {
    MutexLock lock(mu_);
    return closed_ && items_.empty();
  }

  void close() {
    MutexLock lock(mu_);
    closed_ = true;
    changed_.notify_all();
  }

 private:
  const std::size_t capacity_;
  Mutex mu_;
  CondVar changed_;
  std::deque<T> items_ GUARDED_BY(mu_);
  bool closed_ GUARDED_BY(mu_) = false;
};

}  // namespace everytake
