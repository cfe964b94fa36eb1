"""What only the whole field tells: pieces put together again, halos, dust and spilled colour set aside."""
