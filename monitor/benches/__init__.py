"""Many benches at once, from what they say over MQTT: words in, a list worst first out. Pure; time is an argument."""
