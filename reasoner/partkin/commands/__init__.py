"""What each command does, without the terminal: one story a module, told through the pipeline.

In: a build or its folder, and what the person asked. Out: values, texts or changes for whoever shows or writes them.
cli and page call these; nothing below does.
"""
